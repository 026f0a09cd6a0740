/** What every page does the same: ask, wait, refuse, say what is missing. */

import type { ComponentChildren } from "preact";
import { startRun, useTree } from "../store";
import type { Refusal } from "../types";
import { Busy, Empty, Partial, RefusedNote } from "../widgets/state";

interface Props<T> {
  title: string;
  lead?: string;
  address: string;
  children: (data: T, busy: boolean) => ComponentChildren;
}

export function Page<T>({ title, lead, address, children }: Props<T>) {
  const { data, error, busy } = useTree<T>(address);
  return (
    <>
      <header class="pagehead">
        <h1>{title}</h1>
        {lead && <p>{lead}</p>}
      </header>
      {error && <Refusing error={error} />}
      {!error && !data && <Busy what={`Reading ${title.toLowerCase()}`} />}
      {data && (
        <>
          <Partial missing={(data as { partial?: string[] }).partial} />
          {children(data, busy)}
        </>
      )}
    </>
  );
}

function Refusing({ error }: { error: Refusal }) {
  if (error.kind === "empty")
    return <Empty text={error.text} action="Run the study" onAction={startRun} />;
  return <RefusedNote refusal={error} />;
}
