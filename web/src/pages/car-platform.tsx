/** The platform: sensitivity, cliffs in mm and g, divergence, bouncing; live under two sliders. */

import { batch, useComputed, useSignal } from "@preact/signals";
import { useHandles, useLive } from "../live";
import { line } from "../store";
import type { Num } from "../types";
import { Slider } from "../widgets/control";
import { FanChart } from "../widgets/fan";
import { NumberText } from "../widgets/num";
import { Empty, RefusedNote } from "../widgets/state";
import type { CarTree, Cliff, Corner, Platform } from "./car-types";

export function PlatformView({ tree }: { tree: CarTree }) {
  const found = tree.platform;
  if (!found)
    return <Empty text="The platform needs springs and tyres: fill in [car.front] and [car.rear]." />;
  const now = (list: (Num | null)[]): (Num | undefined)[] => list.map((n) => n ?? undefined);
  const { curve } = found;
  const speed = tree.speed.best ?? undefined;
  return (
    <>
      <Facts tree={tree} found={found} />
      <p class="caution">{found.caution}</p>
      <section class="curves" aria-label="Against speed">
        <FanChart title="Height above the cliff" x={curve.speed_kmh} xLabel="speed, km/h" unit="mm" cursor={speed}
          fans={[
            { label: "front axle", tone: "front", numbers: now(curve.front) },
            { label: "rear axle", tone: "rear", numbers: now(curve.rear) },
          ]} />
        <FanChart title="Damping of the slowest swing" x={curve.speed_kmh} xLabel="speed, km/h" unit="%" cursor={speed}
          fans={[{ label: "share of critical", tone: "ink", numbers: now(curve.damping) }]} />
      </section>
      <Live tree={tree} />
      <section>
        <h2>What the motion assumes</h2>
        <ul class="dashes">
          {found.assumed.map((text) => (
            <li key={text}>{text}</li>
          ))}
        </ul>
      </section>
    </>
  );
}

function Facts({ tree, found }: { tree: CarTree; found: Platform }) {
  return (
    <div class="facts">
      <section>
        <h2>Sensitivity</h2>
        <dl class="pairs">
          <div>
            <dt>index, both ends</dt>
            <dd>
              <NumberText number={found.index} label="sensitivity index" /> <span class="faint">of CzS per mm</span>
            </dd>
          </div>
          {found.per_mm.map((row) => (
            <div key={row.axle} class={row.axle}>
              <dt>{row.axle}, per mm</dt>
              <dd>
                <NumberText number={row.total} label={`${row.axle}: CzS per mm`} />
                <br />
                <NumberText number={row.share} label={`${row.axle}: front share per mm`} />{" "}
                <span class="faint">front share</span>
              </dd>
            </div>
          ))}
        </dl>
      </section>
      <section>
        <h2>Distance to the cliff</h2>
        <dl class="pairs">
          {found.cliffs.map((cliff) => (
            <CliffLine key={cliff.axle} cliff={cliff} />
          ))}
        </dl>
      </section>
      <section>
        <h2>Does it hold still</h2>
        <dl class="pairs">
          <div>
            <dt>static divergence</dt>
            <dd>
              {found.divergence.speed && <NumberText number={found.divergence.speed} label="divergence" />}{" "}
              <span class="faint">{found.divergence.text}</span>
            </dd>
          </div>
          <div>
            <dt>bounce starts at</dt>
            <dd>
              {found.bounce.onset ? <NumberText number={found.bounce.onset} label="onset" /> : null}
              <p>{found.bounce.text}</p>
            </dd>
          </div>
          <div>
            <dt>damping, fastest</dt>
            <dd>
              <NumberText number={found.bounce.damping} label="damping" />{" "}
              <span class="faint">of critical</span>
              <br />
              <NumberText number={found.bounce.frequency} label="frequency" />
            </dd>
          </div>
        </dl>
      </section>
      <CornerFacts corner={found.corner} />
      <p class="faint at">All at {tree.at}.</p>
    </div>
  );
}

/** Sideways acceleration comes from the lap at this speed, or from the address: `lateral=1.6 g`. */
function CornerFacts({ corner }: { corner: Corner }) {
  return (
    <section>
      <h2>
        In a corner at <NumberText number={corner.lateral} label="sideways acceleration" />
      </h2>
      <p class="faint">{corner.from}</p>
      {corner.refused && <p class="faint">{corner.refused}</p>}
      <dl class="pairs">
        {corner.numbers.map((row) => (
          <div key={row.name}>
            <dt>{row.words}</dt>
            <dd>
              <NumberText number={row.number} label={row.words} />
            </dd>
          </div>
        ))}
      </dl>
    </section>
  );
}

function CliffLine({ cliff }: { cliff: Cliff }) {
  return (
    <div class={cliff.axle}>
      <dt>{cliff.axle}</dt>
      <dd>
        {cliff.height && <NumberText number={cliff.height} label={`${cliff.axle}: height above the cliff`} />}
        {cliff.g && (
          <>
            <br />
            <NumberText number={cliff.g} label={`${cliff.axle}: in g`} />{" "}
            <span class="faint">of {cliff.pedal}</span>
          </>
        )}
        {cliff.text && <p class="faint">{cliff.text}</p>}
      </dd>
    </div>
  );
}

interface Answer {
  at: string;
  numbers: Record<string, Num>;
  share: number;
  draws: number;
}

const SHOWN = [
  ["front_mm", "front above its cliff", "front"],
  ["front_g", "in g of braking", "front"],
  ["rear_mm", "rear above its cliff", "rear"],
  ["rear_g", "in g of driving", "rear"],
  ["damping", "damping of the slowest swing", ""],
  ["onset", "bounce starts at, where it does", ""],
] as const;

function Live({ tree }: { tree: CarTree }) {
  const kmh = tree.speed.best ?? 200;
  const tenth = (mm: number) => Number(mm.toFixed(1));
  const rest = { front_mm: tenth(tree.static.front_mm), rear_mm: tenth(tree.static.rear_mm) };
  const { now: ask } = useHandles({ speed: kmh, ...rest });
  const touched = useSignal(false);
  const wanted = useComputed(() => (touched.value ? ask.value : null));
  const { live, refusal } = useLive(wanted, async (asked: typeof ask.value) => {
    const { header } = await line.ask({ do: "motion_at", state: tree.state, ...asked });
    return header as unknown as Answer;
  });
  const move = (change: Partial<typeof ask.value>) =>
    batch(() => {
      touched.value = true;
      ask.value = { ...ask.value, ...change };
    });
  return (
    <section class="trial">
      <h2>Try other ride heights at rest</h2>
      <div class="sliders">
        <Slider label="Speed" value={ask.value.speed} low={60} high={Math.max(...tree.speeds)} step={1} unit="km/h"
          onMove={(speed) => move({ speed })} />
        <Slider label="Static front" value={ask.value.front_mm} low={30} high={100} step={0.5} unit="mm"
          onMove={(front_mm) => move({ front_mm })} />
        <Slider label="Static rear" value={ask.value.rear_mm} low={30} high={120} step={0.5} unit="mm"
          onMove={(rear_mm) => move({ rear_mm })} />
      </div>
      {refusal.value && <RefusedNote refusal={refusal.value} />}
      {live.value ? (
        <>
          <p class="at">At {live.value.at}, from {live.value.draws} draws</p>
          <dl class="pairs">
            {SHOWN.map(([key, label, tone]) => (
              <div key={key} class={tone}>
                <dt>{label}</dt>
                <dd>
                  {live.value!.numbers[key] ? (
                    <NumberText number={live.value!.numbers[key]} label={label} />
                  ) : (
                    <span class="faint">none in sight</span>
                  )}
                </dd>
              </div>
            ))}
          </dl>
        </>
      ) : (
        <p class="faint">Move a slider.</p>
      )}
    </section>
  );
}
