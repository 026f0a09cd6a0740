"""A wing with section polars: the lattice gives the induced angle, the sections the load.

With ``cl = M (a + delta)`` from the lattice and ``delta`` the decambering that makes a strip
carry what its section carries, the section's incidence is ``a - A cl`` with
``A = M^-1 - 1/a2``: ``a2`` is the slope of the flat strip in two dimensions at its height, so
that the two-dimensional part of the ground effect is counted once, in the polar.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tuftwork.errors import InputError, NotConverged, UnknownName
from tuftwork.quantity import Array
from tuftwork.wing.lattice import Lattice, build_lattice, trefftz_matrix
from tuftwork.wing.planform import Onset, Wing, onset_at, uniform_onset
from tuftwork.wing.section_table import SectionTable, StripPolars, at_heights, look_up

_PLATE_FRICTION = 0.009  # both sides of a turbulent plate near Re 5e5, [schlichting1979] 2 CF
_MOST = 60
_BEYOND = np.deg2rad(2.0)  # nothing is promised further beyond maximum lift


@dataclass(frozen=True, slots=True, kw_only=True)
class WingResult:
    """A wing at one setting; areas in m^2, downforce positive.

    Attributes
    ----------
    downforce_area, drag_area : float
        CzS and CxS on the road speed. [m^2]
    induced_area, profile_area, plate_area, onset_area : float
        Parts of the drag area; ``onset_area`` is the tilt of the load by the onset. [m^2]
    x_centre : float
        Where the load acts, x rearward. [m]
    y, z, chord, width, x_quarter : (n_strip,)
        Strips of the lifting surfaces. [m]
    surface : (n_strip,)
        Surface number of each strip.
    lift, alpha, drag, moment : (n_strip,)
        Section coefficients on local speed and effective incidence. [-], [rad]
    speed : (n_strip,)
        Local onset speed over the road speed. [-]
    margin : (n_strip,)
        Incidence left before the section stalls. [rad]
    ideal_lift : (n_strip,)
        Section lift of the elliptic load with the same total per surface. [-]
    efficiency : float
        Span efficiency on the first surface's span; above 1 with plates or ground. [-]
    tip_vortex : (n_surface, 2)
        Circulation rolled up per side over the road speed, left and right. [m]
    tip_vortex_y : (n_surface, 2)
        Where it rolls up (centroid of the shed sheet). [m]
    is_stalled
        A strip is beyond its stall: the state may be one of several.
    """

    downforce_area: float
    drag_area: float
    induced_area: float
    profile_area: float
    plate_area: float
    onset_area: float
    x_centre: float
    y: Array
    z: Array
    chord: Array
    width: Array
    x_quarter: Array
    surface: NDArray[np.int64]
    lift: Array
    alpha: Array
    drag: Array
    moment: Array
    speed: Array
    margin: Array
    ideal_lift: Array
    efficiency: float
    tip_vortex: Array
    tip_vortex_y: Array
    is_stalled: bool
    n_iteration: int
    notices: tuple[str, ...]
    lattice: Lattice = field(repr=False)
    ring_circulation: Array = field(repr=False)


@dataclass(frozen=True, slots=True)
class WingSystem:
    """A lattice with everything derived from it that no setting changes."""

    wing: Wing
    lattice: Lattice
    lifting: NDArray[np.int64]
    induced: Array
    base: Array
    trefftz: Array


def wing_system(wing: Wing, *, n_span: int = 28, n_row: int = 3, n_plate: int = 5) -> WingSystem:
    """Return the solved geometry of a wing, good for any setting and onset."""
    lattice = build_lattice(wing, n_span=n_span, n_row=n_row, n_plate=n_plate)
    w = lattice.lifting
    base = lattice.circulation[np.ix_(w, w)]
    # M for unit speed: cl = 2 Gamma / c
    matrix = 2.0 / lattice.chord[w][:, None] * base
    induced = np.linalg.inv(matrix) - np.diag(1.0 / lattice.slope[w])
    return WingSystem(wing, lattice, w, induced, base, trefftz_matrix(lattice))


def strip_polars(
    system: WingSystem, tables: Mapping[str, SectionTable], setting: Array
) -> StripPolars:
    """Polars of all strips at their heights for the surfaces' settings."""
    lat, w = system.lattice, system.lifting
    surface = lat.surface[w]
    parts: list[tuple[Array, ...]] = []
    grid: Array | None = None
    order: list[NDArray[np.int64]] = []
    for k, s in enumerate(system.wing.surfaces):
        if s.section not in tables:
            raise UnknownName(f"{s.name} section", s.section, tables)
        table = tables[s.section]
        if grid is None:
            grid = table.alpha
        elif grid.size != table.alpha.size or not np.allclose(grid, table.alpha):
            raise InputError(
                f"{s.name} section", s.section, "", "must have the same incidence grid as the first"
            )
        mine = np.flatnonzero(surface == k)
        order.append(mine)
        if system.wing.is_grounded:
            drop = np.interp(setting[k], table.alpha, table.drop)
            height = lat.z[w][mine] / lat.chord[w][mine] - drop
            if not (height > 0.0).all():
                raise InputError(
                    f"{s.name} height", float(height.min()), "chord",
                    "its lowest point must be above the road", "Raise it or reduce its incidence.",
                )  # fmt: skip
        else:
            height = np.full(mine.size, np.inf)
        parts.append(at_heights(table, height))
    assert grid is not None
    where = np.argsort(np.concatenate(order))
    joined = [np.concatenate([p[i] for p in parts])[where] for i in range(5)]
    return StripPolars(
        float(grid[0]),
        float(grid[1] - grid[0]),
        joined[0],
        joined[1],
        joined[2],
        joined[3],
        joined[4][:, 0],
        joined[4][:, 1],
    )


def solve_strips(
    induced: Array, polars: StripPolars, alpha: Array
) -> tuple[Array, Array, NDArray[np.bool_], int]:
    """Solve cl = polar(alpha - A cl) for many cases at once.

    Parameters
    ----------
    induced : (n_strip, n_strip)
    alpha : (n_case, n_strip)

    Returns
    -------
    lift, effective : (n_case, n_strip)
    is_solved : (n_case,)
    n_iteration
    """
    n_case, n = alpha.shape
    slope0 = 2.0 * np.pi
    zero = _zero_lift(polars)
    eye = np.eye(n)
    start = np.linalg.solve(eye + slope0 * induced, slope0 * (alpha - zero).T).T
    lift = np.clip(start, -3.0, 4.0)
    done = np.zeros(n_case, bool)
    count = 0
    damp = np.ones(n_case)
    last = np.full(n_case, np.inf)
    for count in range(1, _MOST + 1):  # noqa: B007
        act = np.flatnonzero(~done)
        if act.size == 0:
            break
        effective = alpha[act] - lift[act] @ induced.T
        value, rate = look_up(polars, polars.lift, effective)
        rest = lift[act] - value
        size = np.abs(rest).max(axis=1)
        done[act] = size < 1e-8
        worse = size > last[act]
        damp[act] = np.where(
            worse, np.maximum(0.5 * damp[act], 0.1), np.minimum(1.3 * damp[act], 1)
        )
        last[act] = size
        live = ~done[act]
        if not live.any():
            break
        jac = eye + rate[live][:, :, None] * induced
        step = np.linalg.solve(jac, rest[live][:, :, None])[:, :, 0]
        big = np.abs(step).max(axis=1)
        limit = np.minimum(damp[act][live], 1.0 / np.maximum(big, 1e-12))
        lift[act[live]] -= limit[:, None] * step
    for k in np.flatnonzero(~done):
        lift[k], done[k] = _relaxed(induced, polars, alpha[k], lift[k])
    effective = alpha - lift @ induced.T
    return lift, effective, done, count


def _zero_lift(polars: StripPolars) -> Array:
    """Incidence of zero lift of each strip."""
    grid = polars.first + polars.step * np.arange(polars.lift.shape[1])
    k = np.argmin(np.abs(polars.lift), axis=1)
    rows = np.arange(k.size)
    j = np.clip(k, 1, grid.size - 2)
    rate = (polars.lift[rows, j + 1] - polars.lift[rows, j - 1]) / (2.0 * polars.step)
    return np.asarray(grid[k] - polars.lift[rows, k] / np.maximum(rate, 1.0))


def _relaxed(induced: Array, polars: StripPolars, alpha: Array, start: Array) -> tuple[Array, bool]:
    """Damped iteration with spanwise smoothing where Newton fails beyond stall."""
    lift = np.clip(start, -2.0, 4.0)
    for it in range(600):
        value, _ = look_up(polars, polars.lift, (alpha - induced @ lift)[None])
        change = value[0] - lift
        smooth = change.copy()
        smooth[1:-1] = 0.25 * change[:-2] + 0.5 * change[1:-1] + 0.25 * change[2:]
        lift = lift + 0.05 * (smooth if it < 400 else change)
        if np.abs(change).max() < 1e-6:
            return lift, True
    return lift, bool(np.abs(change).max() < 0.03)


def solve_wing(
    system: WingSystem,
    tables: Mapping[str, SectionTable],
    *,
    incidence: float | Array = 0.0,
    onset: Onset | None = None,
) -> WingResult:
    """Return a wing at one setting in one onset.

    Parameters
    ----------
    system
        Solved geometry, see :func:`wing_system`.
    tables
        Section tables by name; slotted groups as one section at its local height.
    incidence
        Setting of the wing, or one per surface, towards more downforce. [rad]
    onset
        Flow angle and speed along the span; None: the road speed, straight.

    Returns
    -------
    result : WingResult

    Raises
    ------
    NotConverged
        If no load fits the sections, which happens beyond stall.
    """
    setting = np.broadcast_to(np.asarray(incidence, float), (len(system.wing.surfaces),))
    lat, w = system.lattice, system.lifting
    flow = onset or uniform_onset()
    tilt, speed = onset_at(flow, lat.y[w])
    alpha = lat.twist[w] + setting[lat.surface[w]] + tilt
    polars = strip_polars(system, tables, setting)
    induced = _with_speed(system, speed)
    lift, effective, solved, count = solve_strips(induced, polars, alpha[None])
    if not solved[0]:
        raise NotConverged("no load fits the sections: the wing is beyond stall")
    return _gather(system, polars, setting, lift[0], effective[0], tilt, speed, count)


def _with_speed(system: WingSystem, speed: Array) -> Array:
    """Induced-angle matrix where the onset speed varies along the span.

    Gamma = G (k a) and cl = 2 Gamma / (k c): M becomes diag(1/k) M diag(k).
    """
    if np.allclose(speed, speed[0]):
        return system.induced
    return np.asarray(system.induced * speed[None, :] / speed[:, None])


def _gather(
    system: WingSystem,
    polars: StripPolars,
    setting: Array,
    lift: Array,
    effective: Array,
    tilt: Array,
    speed: Array,
    count: int,
) -> WingResult:
    lat, w = system.lattice, system.lifting
    chord, width = lat.chord[w], lat.width[w]
    drag, _ = look_up(polars, polars.drag, effective[None])
    moment, _ = look_up(polars, polars.moment, effective[None])
    cd, cm = drag[0], moment[0]
    flat = (lat.edge_b - lat.edge_a)[w, 1]
    load = lift * chord * flat * speed**2
    gamma_w = 0.5 * lift * chord * speed
    wash = np.zeros(lat.y.size)
    wash[w] = np.linalg.solve(system.base, gamma_w)
    gamma = lat.circulation @ wash
    induced = float(gamma @ system.trefftz @ gamma)
    profile = float((cd * chord * width * speed**2).sum())
    plates = lat.surface < 0
    plate = float(_PLATE_FRICTION * (lat.chord * lat.width)[plates].sum())
    # a load stands square to the air it meets: what adds incidence turns it forward
    onset = -float((load * np.sin(tilt)).sum())
    total = float((load * np.cos(tilt)).sum())
    arm = lat.x_quarter[w] - np.divide(
        cm * chord, lift, out=np.zeros_like(lift), where=np.abs(lift) > 1e-9
    )
    centre = float((load * arm).sum() / total) if abs(total) > 1e-12 else float("nan")
    span = system.wing.surfaces[0].span
    margin = polars.stall - effective
    notices = []
    if (margin < 0.0).any():
        notices.append("stalled in part: the state may be one of several")
    if (margin < -_BEYOND).any():
        notices.append("a section works more than 2° past its stall: nothing is promised there")
    if (effective < polars.low).any() or (effective > polars.high).any():
        notices.append("a section works outside its trusted incidences")
    vortex, vortex_y = _tip_vortices(system, gamma)
    return WingResult(
        downforce_area=total,
        drag_area=induced + profile + plate + onset,
        induced_area=induced,
        profile_area=profile,
        plate_area=plate,
        onset_area=onset,
        x_centre=centre,
        y=lat.y[w],
        z=lat.z[w],
        chord=chord,
        width=width,
        x_quarter=lat.x_quarter[w],
        surface=lat.surface[w],
        lift=lift,
        alpha=effective,
        drag=cd,
        moment=cm,
        speed=speed,
        margin=margin,
        ideal_lift=_ideal(system, load, speed),
        efficiency=total**2 / (np.pi * span**2 * induced) if induced > 1e-12 else float("nan"),
        tip_vortex=vortex,
        tip_vortex_y=vortex_y,
        is_stalled=bool((margin < 0.0).any()),
        n_iteration=count,
        notices=tuple(notices),
        lattice=lat,
        ring_circulation=lat.ring_gain @ wash,
    )


def _ideal(system: WingSystem, load: Array, speed: Array) -> Array:
    """Section lift of an elliptic load of the same total on each surface."""
    lat, w = system.lattice, system.lifting
    out = np.zeros(w.size)
    for k, s in enumerate(system.wing.surfaces):
        mine = lat.surface[w] == k
        eta = (lat.y[w][mine] - 0.5 * (s.y[0] + s.y[-1])) / (0.5 * s.span)
        shape = np.sqrt(np.maximum(1.0 - eta**2, 0.0))
        scale = load[mine].sum() / (shape * lat.width[w][mine]).sum()
        out[mine] = scale * shape / (lat.chord[w][mine] * speed[mine] ** 2)
    return out


def _tip_vortices(system: WingSystem, gamma: Array) -> tuple[Array, Array]:
    """Circulation shed per side and where it rolls up."""
    lat = system.lattice
    strength, place = (
        np.zeros((len(system.wing.surfaces), 2)),
        np.zeros((len(system.wing.surfaces), 2)),
    )
    for k in range(len(system.wing.surfaces)):
        mine = np.flatnonzero(lat.surface == k)
        g, y, dy = gamma[mine], lat.y[mine], lat.width[mine]
        top = int(np.argmax(np.abs(g)))
        middle = 0.5 * (lat.edge_a[mine][0, 1] + lat.edge_b[mine][-1, 1])
        for side in range(2):
            part = y < middle if side == 0 else y > middle
            strength[k, side] = g[top]
            sign = -1.0 if side == 0 else 1.0
            place[k, side] = middle + sign * (g[part] * dy[part]).sum() / g[top]
    return strength, place
