/** Laps by a device's schedule, and what is lost when the device stays or breaks. */

import { withUnit, write } from "../number";
import { NumberText, RangeBar, Scale, spanOf } from "../widgets/num";
import { Verdict } from "./lap";
import { LapChart } from "./lap-chart";
import type { DeviceLap, LapPage } from "./lap-types";

export function Devices({ tree }: { tree: LapPage }) {
  return (
    <>
      {tree.devices.map((device) => (
        <Device key={device.name} device={device} spans={spansOf(tree)} />
      ))}
    </>
  );
}

const spansOf = (tree: LapPage) =>
  tree.corners.map((c) => ({ start: c.start / 1000, end: c.end / 1000, name: c.name }));

function Device({ device, spans }: { device: DeviceLap; spans: ReturnType<typeof spansOf> }) {
  if (device.refused)
    return (
      <section aria-label={`Device: ${device.device}`}>
        <h2>{device.device}: {device.name}</h2>
        <p>No lap by this schedule: {device.refused}</p>
      </section>
    );
  const changes = device.rows.flatMap((row) => (row.change ? [row.change] : []));
  const [low, high] = spanOf(changes, true);
  const { trace } = device;
  return (
    <section aria-label={`Device: ${device.device}`}>
      <h2>{device.device}: {device.name}</h2>
      <p>
        A lap by this schedule takes <NumberText number={device.time} label={`${device.name}: lap`} />; the device moves{" "}
        {device.moves} times a lap and takes {withUnit(write(device.travel, 1), "s")} each time. Every draw switches where it wants.
      </p>
      <div class="scroll" tabIndex={0} role="region" aria-label={`${device.device} as a table`}>
        <table class="laps">
          <caption>What the lap changes by when the device does not follow its schedule; right is lost.</caption>
          <thead>
            <tr>
              <th scope="col">Instead</th>
              <th scope="col">Share of the lap there</th>
              <th scope="col">Change</th>
              <th scope="col" class="wide"><span class="unseen">Range</span></th>
              <th scope="col">Verdict</th>
            </tr>
          </thead>
          <tbody>
            {device.rows.map((row) => (
              <tr key={row.kind + row.state}>
                <th scope="row">
                  {row.state} <small>{row.kind === "held" ? "stuck there" : "failed"}</small>
                </th>
                <td>{row.share == null ? "–" : withUnit(write(100 * row.share, 0), "%")}</td>
                {row.change ? (
                  <>
                    <td><NumberText number={row.change} label={`${row.state}: change`} stack /></td>
                    <td><RangeBar number={row.change} low={low} high={high} label={`${row.state}: change`} /></td>
                    <td><Verdict word={row.verdict ?? ""} /></td>
                  </>
                ) : (
                  <td colSpan={3}>{row.refused}</td>
                )}
              </tr>
            ))}
          </tbody>
          {changes.length > 0 && (
            <tfoot>
              <tr>
                <td colSpan={3} />
                <td><Scale low={low} high={high} unit="s" /></td>
                <td />
              </tr>
            </tfoot>
          )}
        </table>
      </div>
      <LapChart title="Position along the lap" x={trace.station.map((s) => s / 1000)} unit="position" spans={spans} height={120}
        lines={[{ label: device.positions.map((p, k) => `${k} ${p}`).join(", "), tone: "ink", values: trace.position }]} />
      {device.notices.map((text) => <p key={text} class="faint">{text}</p>)}
    </section>
  );
}
