# mypy: disable-error-code="untyped-decorator,import-untyped,no-untyped-def,no-untyped-call"
"""What happened along a lap, point by point."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, TypeAlias, no_type_check

import numpy as np
from numba import njit
from numpy.typing import NDArray

from tuftwork.lap.parameter import INDEX
from tuftwork.lap.physics import BRAKE, DRIVE, TURNING, aero_at, assemble, inner
from tuftwork.quantity import Array

if TYPE_CHECKING:
    from tuftwork.lap.solve import Case

Record: TypeAlias = tuple[Any, ...]
"""What the compiled passes hand back: time, node energies and kinds, cell records, fault."""

Whole: TypeAlias = NDArray[np.int64]
Marks: TypeAlias = NDArray[np.bool_]

LIMITS: Final = ("power", "front axle", "rear axle", "brakes", "both axles", "tyres used up")
"""What limits a cell, by number."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LapTrace:
    """Values per cell, from the circuit's own start line onward.

    Attributes
    ----------
    station, speed, duration : (n,)
        Cell middle [m], mean speed [m/s], time in the cell [s].
    ax, ay : (n,)
        Accelerations, forward and towards the inside positive. [m/s²]
    ride_height_front, ride_height_rear : (n,)
        At the axle lines. [m]
    load_front, load_rear : (n,)
        Axle loads. [N]
    downforce_front, downforce_rear, drag : (n,)
        CzS and CxS met. [m²]
    use_front, use_rear : (n,)
        Share of the axle's grip used, combined. [-]
    drive_force : (n,)
        Force from the engine (positive) or the brakes (negative). [N]
    limit : (n,)
        Index into ``LIMITS``.
    braking : (n,)
        Whether the cell is braked.
    outside : (n,)
        Whether the ride heights lie outside the aero table.
    state_share : (n,)
        Device state as a number (1.3: three tenths of the way from state 1 to its next).
    """

    station: Array
    speed: Array
    duration: Array
    ax: Array
    ay: Array
    ride_height_front: Array
    ride_height_rear: Array
    load_front: Array
    load_rear: Array
    downforce_front: Array
    downforce_rear: Array
    drag: Array
    use_front: Array
    use_rear: Array
    drive_force: Array
    limit: Whole
    braking: Marks
    outside: Marks
    state_share: Array

    @property
    def front_share(self) -> Array:
        """Front share of downforce. [-]"""
        total = self.downforce_front + self.downforce_rear
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.where(total != 0.0, self.downforce_front / total, np.nan)


@inner
@no_type_check
def _settle(mode, energy, ax, guess, road, mix, p, flags, aero, power, step):
    """Return ride heights at a given speed and acceleration, and the loads there."""
    hf, hr = guess
    _, jac, _, by = assemble(mode, energy, ax, hf, hr, road, mix, p, flags, aero, power, step)
    for _ in range(40):
        res, jac, _, by = assemble(mode, energy, ax, hf, hr, road, mix, p, flags, aero, power, step)
        det = jac[0] * jac[4] - jac[1] * jac[3]
        df = -(res[0] * jac[4] - jac[1] * res[1]) / det
        dr = -(jac[0] * res[1] - jac[3] * res[0]) / det
        big = max(abs(df), abs(dr))
        cut = 0.006 / big if big > 0.006 else 1.0
        hf, hr = hf + cut * df, hr + cut * dr
        if big < 1e-8:
            break
    return hf, hr, by


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _walk(energy, length, cell_road, mix, met, ahead, p, flags, aero, power, step, out):
    for i in range(length.shape[0]):
        c = cell_road[i]
        road = (c[0], c[1], c[2], c[3], c[4], c[5])
        em = 0.5 * (energy[i] + energy[i + 1])
        ax = (energy[i + 1] - energy[i]) / length[i]
        mode = BRAKE if met[i] == 1 else DRIVE
        hf, hr, by = _settle(
            mode, em, ax, (ahead[i, 1], ahead[i, 2]), road, mix[i], p, flags, aero, power, step
        )
        out[i, 0], out[i, 1], out[i, 2] = ax, hf, hr
        out[i, 3], out[i, 4] = by[0], by[1]
        out[i, 5] = p[0] * (1.0 + p[17]) * ax + by[6]
        out[i, 6] = 2.0 * em * road[0] * road[2] - p[44] * road[1] * road[4]
        out[i, 7], out[i, 8], out[i, 9], out[i, 10] = by[2], by[3], by[4], by[5]


def trace_of(case: "Case", record: Record, p: Array, coefficients: Array, mix: Array) -> LapTrace:
    """Return the trace of a kernel record, rolled back to the circuit's own start line."""
    _, energy, kind, limit, _, ahead, behind, _, _ = record
    mesh, a, power = case.mesh, case.aero, case.vehicle.power
    met = limit[:, 0] // 16
    n = mesh.length.size
    out = np.empty((n, 11))
    heights = np.where((met == 1)[:, None], behind, ahead)
    aero = (coefficients, a.ride_height_front, a.ride_height_rear)
    _walk(
        energy, mesh.length, mesh.cell_road, mix, met, heights, p, case.vehicle.flags, aero,
        power.table, power.step, out,
    )  # fmt: skip
    ax, hf, hr, nf, nr, force, ay, cf, cr, fyf, fyr = out.T
    fields = aero_along(aero, mix, hf, hr)
    scale = [p[INDEX[k]] for k in ("downforce_scale_front", "downforce_scale_rear", "drag_scale")]
    added = [p[INDEX[k]] for k in ("downforce_added_front", "downforce_added_rear", "drag_added")]
    roll2 = (p[INDEX["roll_gradient"]] * ay) ** 2
    keep_f = 1.0 / (1.0 + p[INDEX["roll_loss_front"]] * roll2)
    keep_r = 1.0 / (1.0 + p[INDEX["roll_loss_rear"]] * roll2)
    share = np.where(force > 0.0, p[INDEX["drive_share_front"]], p[INDEX["brake_share_front"]])
    flag = np.where(force > 0.0, *case.vehicle.flags)
    share = np.where(flag, cf / (cf + cr), share)
    ratio = p[INDEX["longitudinal_ratio"]]
    use_f = np.hypot(share * force / (ratio * cf), fyf / cf)
    use_r = np.hypot((1.0 - share) * force / (ratio * cr), fyr / cr)
    v0, v1 = np.sqrt(2.0 * energy[:-1]), np.sqrt(2.0 * energy[1:])
    duration = 2.0 * mesh.length / (v0 + v1)
    capped = (kind[1:] == 2) & (kind[:-1] == 2)
    limits = np.where(met == 1, limit[:, 1], limit[:, 0] % 16)
    limits = np.where(limits == TURNING, 1, limits)
    limits = np.where(capped, np.where(use_f > use_r, 1, 2), limits)
    outside = (
        (hf < a.ride_height_front[0]) | (hf > a.ride_height_front[-1])
        | (hr < a.ride_height_rear[0]) | (hr > a.ride_height_rear[-1])
    )  # fmt: skip
    middle = 0.5 * (mesh.station[1:] + mesh.station[:-1])
    start = case.circuit.station[0]
    middle = (middle - start) % case.circuit.length + start if mesh.closed else middle
    o = np.argsort(middle)
    return LapTrace(
        station=middle[o], speed=(mesh.length / duration)[o], duration=duration[o], ax=ax[o],
        ay=ay[o], ride_height_front=hf[o], ride_height_rear=hr[o], load_front=nf[o],
        load_rear=nr[o],
        downforce_front=((fields[:, 0] * scale[0] + added[0]) * keep_f)[o],
        downforce_rear=((fields[:, 1] * scale[1] + added[1]) * keep_r)[o],
        drag=(fields[:, 2] * scale[2] + added[2])[o],
        use_front=use_f[o], use_rear=use_r[o], drive_force=force[o], limit=limits[o],
        braking=(met == 1)[o], outside=outside[o],
        state_share=(mix[:, 0] + mix[:, 2] * (mix[:, 1] - mix[:, 0]))[o],
    )  # fmt: skip


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _along(aero, mix, hf, hr, out):
    for i in range(hf.shape[0]):
        t = aero_at(aero, mix[i], hf[i], hr[i])
        out[i, 0], out[i, 1], out[i, 2] = t[0], t[3], t[6]


def aero_along(aero: tuple[Array, Array, Array], mix: Array, hf: Array, hr: Array) -> Array:
    """Return CzSf, CzSr and CxS along arrays of ride heights, (n, 3)."""
    out = np.empty((hf.size, 3))
    _along(aero, mix, np.ascontiguousarray(hf), np.ascontiguousarray(hr), out)
    return out
