"""Skid pads and corners tie the tyres: grip, its loss over load, what the driver leaves.

Every draw of the study has its own limit on every circle; tyres move by a Gaussian update in their
deviates, with slopes averaged over the draws. Aero, masses and springs stay as they were drawn:
what they leave open counts as doubt of the circle, and each draw's tyres make up for its own.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tuftwork.car import Circle, Tyres
from tuftwork.car.table import limit_of
from tuftwork.errors import Fault, FileFault, InputError, NotConverged
from tuftwork.floor.calibrate import gaussian_update
from tuftwork.lap.circle import wheel_loads
from tuftwork.quantity import Z80, Array, Ensemble, summarise, values_at
from tuftwork.study.grip_driven import Driven, driven_circles, unfollowed
from tuftwork.study.grip_table import circles_of
from tuftwork.study.inputs import state_names
from tuftwork.study.job import GRIP, Job, _plain
from tuftwork.study.lap_car import lap_of, tyre_values
from tuftwork.study.step import Pulse, Step
from tuftwork.study.store import Tree

N_SLOPE = 64
"""Draws that slopes are averaged over: the limit is nearly straight in the tyres."""
_STEP = 0.15  # [-] of a deviate, for slopes
_SEED = 20263  # of what belongs to circles alone
_FEWEST = 0.5  # [-] of the draws must have a limit
_FAR = 6.0  # [-] standard deviations beyond which a circle was misread rather than driven
_G = 9.80665  # [m/s²]  by definition
_VERSION = 3


def grip_steps(job: Job) -> list[Step]:
    """Return the step that ties the tyres; none where the project has no circles."""
    project = job.project
    if project.lap is None or project.lap.cornering is None:
        return []
    own = project.lap.cornering

    def work(results: Mapping[str, Tree], pulse: Pulse) -> Tree:
        try:
            circles = circles_of(project, job.folder)
            return _tied(job, circles, results, pulse)
        except FileFault as why:  # the rest of the study stands without its circles
            return {"refused": [str(fault) for fault in why.faults]}
        except (InputError, NotConverged) as why:
            return {"refused": [str(why)]}

    inputs = {
        "cornering": own.model_dump_json(),
        "evidence": [[e.file, e.digest, job.stamp(e.file)] for e in project.evidence
                     if e.id in own.tables],
        "quantities": _plain({n: q for n, q in job.quantities.items()
                              if n.startswith(("lap.", "car.", "mass_states.", "weather."))}),
        "masses": [mass.model_dump_json() for mass in project.mass_states],
        "states": [state.model_dump_json() for state in project.states],
        "car": project.car.model_dump_json(),
        "driven": lap_of(project).driven,
    }  # fmt: skip
    return [
        Step(
            name=GRIP, title="Tyres: tied to skid pads and corners", inputs=inputs, work=work,
            needs=("tie", "axes", *(f"map {s}" for s in state_names(project))),
            version=_VERSION, weight=1.0,
        )
    ]  # fmt: skip


def _tied(job: Job, circles: Sequence[Circle], results: Mapping[str, Tree], pulse: Pulse) -> Tree:
    ensemble = job.ensemble(results["tie"])
    rows = driven_circles(job, circles, ensemble, results)
    names = tied_names(job, circles, ensemble)
    if not names:
        raise InputError("lap.cornering", f"{len(circles)} circles", "",
                         "tie nothing: grip, its loss and track_grip are exact",
                         "Give them ranges.")  # fmt: skip
    problem = _Problem(job=job, ensemble=ensemble, rows=rows, names=names)
    before = problem.answers(problem.own)
    _refuse_impossible(rows, before)
    pulse.beat(0.2)
    prior_slopes = problem.slopes(np.zeros(len(names)))
    left = _filled(before) - prior_slopes @ problem.own.T
    follows = lap_of(job.project).cornering
    assert follows is not None
    model = unfollowed(rows, follows.follows.best)
    noise = np.cov(left, ddof=1).reshape(len(rows), len(rows)) + model
    _refuse_far(rows, before, noise + prior_slopes @ prior_slopes.T)
    pulse.beat(0.4)
    least = _least(job, names)
    found = gaussian_update(
        problem.means, np.zeros(len(rows)), noise, mean=np.zeros(len(names)),
        spread=np.ones(len(names)), step=np.full(len(names), _STEP), least=least,
    )  # fmt: skip
    pulse.beat(0.8)
    slopes = problem.slopes(found.mean)
    gain = slopes.T @ np.linalg.inv(slopes @ slopes.T + noise)
    unlike = _filled(before) + _drawn(model, ensemble.size)
    unlike -= unlike.mean(axis=1, keepdims=True)
    own = _spread_as(problem.own - (gain @ unlike).T, found.covariance)
    moved = np.maximum(found.mean + own, least)
    after = problem.answers(moved)
    tyres = problem.tyres(problem.own), problem.tyres(moved)
    return {
        "moved": {"names": list(names), "deviates": moved},
        "shifts": _shifts(*tyres),
        "inputs": _inputs(job, names, found.mean, found.covariance, moved),
        "axles": _axles(problem, moved, slopes, noise),
        "rows": [
            _row(row, before[k], after[k], float(np.sqrt(noise[k, k])), tyres[1])
            for k, row in enumerate(rows)
        ],
        "miss_before": _together(before), "miss": _together(after),
    }  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class _Problem:
    """Circles as a function of the tyres' deviates."""

    job: Job
    ensemble: Ensemble
    rows: Sequence[Driven]
    names: Sequence[str]

    @property
    def own(self) -> Array:
        """The study's own deviates of the tied inputs, ``(n_draw, n_name)``."""
        return np.asarray(self.ensemble.deviates[:, [self.ensemble.columns[n] for n in self.names]])

    def tyres(self, deviates: Array) -> dict[str, Array]:
        """Return the first draws' tyres with the tied inputs at these deviates."""
        quantities, few = self.job.quantities, deviates.shape[0]
        drawn = {n: self.ensemble.of(n)[:few] for n in quantities if n.startswith("lap.")}
        for k, name in enumerate(self.names):
            drawn[name] = np.asarray(values_at(quantities[name], deviates[:, k]))
        found = tyre_values(lap_of(self.job.project), drawn)
        return found | {"track_grip": drawn["lap.track_grip"]}

    def answers(self, deviates: Array) -> Array:
        """Return ln of computed over measured of every circle, ``(n_row, n_draw)``; NaN if none."""
        tyres, few = self.tyres(deviates), deviates.shape[0]
        with np.errstate(invalid="ignore"):
            found = np.array([np.log(r.limits(tyres) / r.measured[:few]) for r in self.rows])
        return np.where(np.isfinite(found), found, np.nan)

    def means(self, shifts: Array) -> Array:
        """Return the mean answers with the tyres of all draws shifted, ``(n_row, n_shift)``."""
        own = self.own[:N_SLOPE]
        return np.stack([np.nanmean(self.answers(own + z), axis=1) for z in shifts], axis=1)

    def slopes(self, mean: Array) -> Array:
        """Return the mean slopes of the answers, ``(n_row, n_name)``."""
        steps = _STEP * np.eye(len(self.names))
        up, down = self.means(mean + steps), self.means(mean - steps)
        return np.asarray((up - down) / (2 * _STEP))


def tied_names(job: Job, circles: Sequence[Circle], ensemble: Ensemble) -> tuple[str, ...]:
    """Return the names of the inputs that circles move: the tyres', and in corners the road's."""
    lap = lap_of(job.project)
    found: list[str] = []
    in_corner = any(circle.kind == "corner" for circle in circles)
    for axle in ("front", "rear"):
        rig = getattr(lap, axle).rig
        keys = ["rig_to_track"] if rig else ["grip", "grip_loss"]
        keys += [f"rig.{k}.{key}" for k in range(len(rig)) for key in ("load", "force")]
        found += [f"lap.{axle}.{key}" for key in (*keys, *(("margin",) if in_corner else ()))]
    found += ["lap.track_grip"] if in_corner else []
    return tuple(name for name in found if name in ensemble.columns)


def _refuse_impossible(rows: Sequence[Driven], before: Array) -> None:
    """Refuse circles most draws cannot drive, all at once."""
    faults = [
        Fault(
            what="most draws have no limit on this circle: their ride heights find no balance, or "
            "downforce outruns it",
            key=f"lap.cornering: {row.circle.id}", found=f"radius {row.circle.radius}",
            cure="Look at its radius, state and mass state.",
        )
        for row, told in zip(rows, before, strict=True)
        if np.mean(np.isfinite(told)) < _FEWEST
    ]  # fmt: skip
    if faults:
        raise FileFault(faults)


def _refuse_far(rows: Sequence[Driven], before: Array, covariance: Array) -> None:
    """Refuse circles that no tyre within its range comes near, all at once: they are misread."""
    spread = np.sqrt(np.diag(covariance))
    faults = []
    for row, told, deviation in zip(rows, np.nanmean(before, axis=1), spread, strict=True):
        if abs(told) > _FAR * deviation:
            measured = row.circle.lateral_best / _G
            faults.append(Fault(
                what=f"lies {abs(told) / deviation:.0f} standard deviations from what this car can "
                "do within the ranges of its tyres",
                key=f"lap.cornering: {row.circle.id}", found=f"{measured:.2f} g to the side",
                expected=f"about {measured * np.exp(told):.2f} g",
                cure="Look at the radius (a diameter?), the units and the state; or widen the "
                "range of the grip.",
            ))  # fmt: skip
    if faults:
        raise FileFault(faults)


def _least(job: Job, names: Sequence[str]) -> Array:
    """Return the deviates below which an input leaves what its key allows, ``(n_name,)``."""
    found = np.full(len(names), -np.inf)
    for k, name in enumerate(names):
        field = Tyres.model_fields.get(name.rpartition(".")[2])
        limit = limit_of(field) if field is not None else None
        if limit is None or limit.least is None:
            continue
        quantity = job.quantities[name]
        grid = np.linspace(-12.0, 0.0, 1201)
        found[k] = np.interp(limit.least, values_at(quantity, grid), grid, left=-np.inf)
    return found


def _filled(answers: Array) -> Array:
    """Return answers with the mean where a draw has none: that draw is not moved by the circle."""
    return np.where(np.isfinite(answers), answers, np.nanmean(answers, axis=1, keepdims=True))


def _drawn(covariance: Array, size: int) -> Array:
    rng = np.random.default_rng(_SEED + 1)
    root = np.linalg.cholesky(covariance)
    return np.asarray(root @ rng.standard_normal((covariance.shape[0], size)))


def _together(answers: Array) -> float:
    """Return the root mean square of what the car's middle misses the circles by. [-]"""
    return float(np.sqrt(np.mean(np.square(np.nanmean(answers, axis=1)))))


def _shifts(before: Mapping[str, Array], after: Mapping[str, Array]) -> dict[str, Array]:
    """Return what the circles add to the lap's parameters, draw by draw."""
    found = {}
    for axle in ("front", "rear"):
        key = f"grip_{axle}"
        found[key] = after["track_grip"] * after[key] - before["track_grip"] * before[key]
        for key in (f"load_loss_{axle}", f"margin_{axle}"):
            found[key] = after[key] - before[key]
    return found


def _spread_as(deviates: Array, covariance: Array) -> Array:
    """Return deviates with mean zero and exactly this covariance, each still near its own."""
    middled = deviates - deviates.mean(axis=0)
    size, count = middled.shape
    if size < 4 * count:  # too few draws to say what their covariance is
        return np.asarray(middled)
    have = np.linalg.cholesky(np.cov(middled.T).reshape(count, count))
    want = np.linalg.cholesky(covariance)
    return np.asarray(middled @ np.linalg.inv(have).T @ want.T)


def _ends(draws: Array) -> list[float]:
    s = summarise(draws[np.isfinite(draws)])
    return [s.best, s.low, s.high, s.low_half, s.high_half]


def _inputs(
    job: Job, names: Sequence[str], mean: Array, covariance: Array, moved: Array
) -> list[Tree]:
    found = []
    for k, name in enumerate(names):
        q = job.quantities[name]
        found.append({
            "name": name, "prior": [q.best, q.low, q.high],
            "posterior": _ends(values_at(q, moved[:, k])),
            "moved": float(mean[k]), "left": float(np.sqrt(covariance[k, k])),
        })  # fmt: skip
    return found


def _axles(problem: _Problem, moved: Array, slopes: Array, noise: Array) -> dict[str, Tree]:
    """Return friction of both axles at the load the circles put on them, and what they tell of it.

    ``alone`` is the standard deviation of grip's loss over load that the circles leave if nothing
    was known of this axle's grip and loss before, over that of its range: below 1 they tell it.
    """
    before, after = problem.tyres(problem.own), problem.tyres(moved)
    found: dict[str, Tree] = {}
    for at, axle in enumerate(("front", "rear")):
        ends = [
            float(np.median(wheel_loads(r.steady, r.placed(after), r.measured)[at]))
            for r in problem.rows
            if r.circle.gave_up in (axle, "not said")
        ]
        if not ends:
            continue
        load = float(np.mean(ends))
        first, then = (
            t[f"grip_{axle}"] * (1 - t[f"load_loss_{axle}"] * (load - t[f"wheel_load_{axle}"]))
            for t in (before, after)
        )
        spread = float(np.std(first))
        found[axle] = {
            "count": len(ends), "load": load, "lightest": min(ends), "heaviest": max(ends),
            "prior": _ends(first), "posterior": _ends(then),
            "moved": float(np.mean(then - first)) / spread if spread else 0.0,
            "left": float(np.std(then)) / spread if spread else 1.0,
            "alone": _alone(problem.names, axle, slopes, noise),
        }  # fmt: skip
    return found


def _alone(names: Sequence[str], axle: str, slopes: Array, noise: Array) -> float | None:
    """Return how well circles alone know the loss, over its range; None where it has none."""
    wanted = [f"lap.{axle}.grip_loss", f"lap.{axle}.grip"]
    if wanted[0] not in names:
        return None
    known = np.array([1e-9 if name in wanted else 1.0 for name in names])
    told = slopes.T @ np.linalg.inv(noise) @ slopes + np.diag(known)
    at = list(names).index(wanted[0])
    return float(np.sqrt(np.linalg.inv(told)[at, at]))


def _row(
    row: Driven, before: Array, after: Array, deviation: float, tyres: Mapping[str, Array]
) -> Tree:
    circle = row.circle
    loads = wheel_loads(row.steady, row.placed(tyres), row.measured)
    arm = Z80 * float(np.std(np.log(row.measured)))
    best = circle.lateral_best
    return {
        "id": circle.id, "kind": circle.kind, "at": circle.at, "state": circle.state,
        "mass_state": circle.mass_state, "radius": circle.radius.best,
        "gave_up": circle.gave_up, "evidence": circle.evidence,
        "place": getattr(circle, circle.measure).place,
        "origin": getattr(circle, circle.measure).origin,
        "measured": [best, best * float(np.exp(-arm)), best * float(np.exp(arm))],
        "before": _ends(row.measured * np.exp(before)),
        "after": _ends(row.measured * np.exp(after)),
        "miss": -float(np.nanmean(after)) / deviation,
        "wheel_loads": [float(np.median(load)) for load in loads],
    }  # fmt: skip
