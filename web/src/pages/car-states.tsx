/** Device positions and failures: full rows, schedules, and what it does to stick. */

import { write } from "../number";
import { NumberText } from "../widgets/num";
import type { CarState, CarTree, Device } from "./car-types";

export function StatesView({ tree }: { tree: CarTree }) {
  return (
    <>
      {tree.devices.map((device) => (
        <DeviceView key={device.name} device={device} />
      ))}
      {tree.devices.length === 0 && tree.rows.length > 0 && (
        <p class="faint">
          No device moves on this car. A [[devices]] table names positions and failures, a
          [[schedules]] table says when each is taken.
        </p>
      )}
      <Rows rows={tree.rows} />
    </>
  );
}

function DeviceView({ device }: { device: Device }) {
  return (
    <section class="device">
      <h2>{device.name}</h2>
      {device.note && <p>{device.note}</p>}
      {device.schedules.map((schedule) => {
        const ways = Object.keys(schedule.rows[0] ?? {}).filter((key) => key !== "speed_kmh");
        return (
          <div key={schedule.name} class="scroll" tabIndex={0} role="region" aria-label={`Schedule ${schedule.name}`}>
            <table>
              <caption>Schedule “{schedule.name}”: the position taken</caption>
              <thead>
                <tr>
                  <th scope="col">Speed</th>
                  {ways.map((way) => (
                    <th key={way} scope="col">
                      {way}
                    </th>
                  ))}
                </tr>
              </thead>
              <tbody>
                {schedule.rows.map((row) => (
                  <tr key={row.speed_kmh}>
                    <th scope="row" class="nowrap">{row.speed_kmh}&nbsp;km/h</th>
                    {ways.map((way) => (
                      <td key={way} class={row[way] === device.positions[0] ? "" : "moved"}>{row[way]}</td>
                    ))}
                  </tr>
                ))}
              </tbody>
            </table>
          </div>
        );
      })}
      <div class="scroll" tabIndex={0} role="region" aria-label={`${device.name}: stuck or failed`}>
        <table>
          <caption>What it does to stick or to fail, at the highest speed, in a corner</caption>
          <thead>
            <tr>
              <th scope="col">In, instead of</th>
              <th scope="col">CzS</th>
              <th scope="col">Front share</th>
              <th scope="col">Drag</th>
              <th scope="col">Feels</th>
            </tr>
          </thead>
          <tbody>
            {device.stuck.map((row) => (
              <tr key={row.state}>
                <th scope="row">
                  {row.state}
                  <small>{row.kind === "failure" ? "failed" : "stuck"}, instead of {row.wanted}</small>
                </th>
                <td><NumberText number={row.total} label={`${row.state}: CzS`} stack /></td>
                <td><NumberText number={row.share} label={`${row.state}: front share`} stack /></td>
                <td><NumberText number={row.drag} label={`${row.state}: drag`} stack /></td>
                <td>{row.feels}</td>
              </tr>
            ))}
          </tbody>
        </table>
      </div>
    </section>
  );
}

function Rows({ rows }: { rows: CarState[] }) {
  if (rows.length === 0) return null;
  return (
    <section>
      <h2>Every state at every speed</h2>
      <div class="scroll" tabIndex={0} role="region" aria-label="Every state at every speed">
        <table class="staterows">
          <thead>
            <tr>
              <th scope="col">State</th>
              <th scope="col">Speed</th>
              <th scope="col">CzS</th>
              <th scope="col">Front share</th>
              <th scope="col">Drag</th>
              <th scope="col">hf / hr</th>
            </tr>
          </thead>
          {rows.map((state) => (
            <tbody key={state.name}>
              {state.rows.map((row, index) => (
                <tr key={row.speed_kmh}>
                  {index === 0 && (
                    <th scope="rowgroup" rowSpan={state.rows.length}>
                      {state.name}
                      <small>{state.role}</small>
                      {state.note && <small>{state.note}</small>}
                    </th>
                  )}
                  <td class="nowrap">{row.speed_kmh}&nbsp;km/h</td>
                  <td><NumberText number={row.total} label={`${state.name}: CzS`} stack /></td>
                  <td><NumberText number={row.share} label={`${state.name}: front share`} stack /></td>
                  <td><NumberText number={row.drag} label={`${state.name}: drag`} stack /></td>
                  <td class="nowrap">
                    {row.height_front?.best != null && row.height_rear?.best != null
                      ? `${write(row.height_front.best, 1)} / ${write(row.height_rear.best, 1)}\u00a0mm`
                      : "at rest"}
                  </td>
                </tr>
              ))}
            </tbody>
          ))}
        </table>
      </div>
    </section>
  );
}
