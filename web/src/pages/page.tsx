/** What every page does the same: ask, wait, refuse, say what is missing. */

import type { ComponentChildren } from "preact";
import { useEffect } from "preact/hooks";
import { outline, overview, place, readable, sheetShown, startRun, useTree } from "../store";
import type { Refusal } from "../types";
import { Busy, Empty, Notices, Partial, RefusedNote } from "../widgets/state";

/** What any page may say beside its own matter. */
interface Shared {
  partial?: string[];
  notices?: string[];
}

interface Props<T> {
  title: string;
  lead?: string;
  address: string;
  /** Part of another page: no heading of its own. */
  bare?: boolean;
  /** Whether the children say themselves what is missing. */
  tellsMissing?: (data: T) => boolean;
  children: (data: T, busy: boolean) => ComponentChildren;
}

export function Page<T>({ title: own, lead, address, bare, tellsMissing, children }: Props<T>) {
  const here = place.value.page;
  // The page of the car has several sheets, each with a title of its own.
  const line = here === "car" ? undefined : (overview.value ?? outline.value)?.rail.find((entry) => entry.page === here);
  const title = line?.title ?? own;
  const { data, error, busy } = useTree<T>(address);
  const isShown = data !== null;
  useEffect(() => {
    if (!bare) sheetShown.value = isShown;
  }, [bare, isShown]);
  return (
    <>
      {!bare && (
        <header class="pagehead">
          <h1>{title}</h1>
          {lead && <p>{lead}</p>}
        </header>
      )}
      {error && !bare && <Refusing error={error} />}
      {!error && !data && !bare && <Busy what={`Reading ${title.toLowerCase()}`} />}
      {data && (
        <>
          {!bare && !tellsMissing?.(data) && <Partial missing={(data as Shared).partial} />}
          {!bare && <Notices notices={(data as Shared).notices} />}
          {children(data, busy)}
        </>
      )}
    </>
  );
}

function Refusing({ error }: { error: Refusal }) {
  if (error.kind === "empty")
    return <Empty text={error.text} action="Run the study" onAction={startRun} />;
  if (readable.value) return <RefusedNote refusal={error} />;
  return (
    <RefusedNote refusal={error} head="The project cannot be read as it stands">
      <p>What was computed before is kept, and shows again as soon as these are mended and saved.</p>
    </RefusedNote>
  );
}
