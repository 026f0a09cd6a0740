"""Measured rows as a problem in the inputs' deviates: what the models say, how far off it is."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from jaxtyping import Float

from tuftwork.aeromap.budget import car_loads
from tuftwork.aeromap.interface import PartModel, PlatformState
from tuftwork.aeromap.part import draws_of, part_models
from tuftwork.aeromap.temper import Matrix
from tuftwork.car import Measured, Project
from tuftwork.quantity import Z80, Ensemble, Quantity, draw_ensemble, values_at


@dataclass(frozen=True, slots=True, kw_only=True)
class Sighting:
    """One measured row with the models of its state and the air it was measured in.

    Attributes
    ----------
    measured
        Loads, speed and ride heights, with ranges.
    models
        Of the state it was measured in, from ``part_models``.
    density, viscosity
        Of the air; best values do. [kg/m³], [Pa s]
    """

    measured: Measured
    models: tuple[PartModel, ...]
    density: float
    viscosity: float


def sightings_of(project: Project, density: float, viscosity: float) -> tuple[Sighting, ...]:
    """Return every measured row of a project with the models of its state.

    Parameters
    ----------
    project
        With its ``measured`` rows; none gives none.
    density, viscosity
        Of the air on the day. [kg/m³], [Pa s]
    """
    models = {row.state: part_models(project, row.state) for row in project.measured}
    return tuple(
        Sighting(measured=row, models=models[row.state], density=density, viscosity=viscosity)
        for row in project.measured
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownBefore:
    """Deviates of some inputs that another measurement has moved already; normal.

    Attributes
    ----------
    names
        Of the inputs.
    mean, covariance : (n,), (n, n)
        Of their deviates, 0 and the unit matrix where nothing was known. [-]
    """

    names: tuple[str, ...]
    mean: Float[np.ndarray, " n"]
    covariance: Float[np.ndarray, "n n"]

    def moved(self, names: Sequence[str], deviates: Matrix) -> Matrix:
        """Return standard normal deviates of inputs ``(n_draw, n_name)`` as what is known."""
        own = [i for i, name in enumerate(self.names) if name in names]
        out = np.array(deviates)
        if own:
            at = [list(names).index(self.names[i]) for i in own]
            root = np.linalg.cholesky(self.covariance[np.ix_(own, own)])
            out[:, at] = self.mean[own] + out[:, at] @ root.T
        return out


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """Rows, their covariance and which columns of the deviates they speak of."""

    sightings: tuple[Sighting, ...]
    ensemble: Ensemble
    columns: list[int]
    value: Float[np.ndarray, " n_row"]
    whiten: Float[np.ndarray, "n_row n_row"]
    deviation: Float[np.ndarray, " n_row"]
    labels: tuple[tuple[str, str, Quantity], ...]
    known: KnownBefore | None = None

    @classmethod
    def of(
        cls, sightings: tuple[Sighting, ...], ensemble: Ensemble, discrepancy: float, common: float
    ) -> "Problem":
        """Return the problem of some rows."""
        used = {n for s in sightings for m in s.models for n in m.inputs}
        columns = [column for name, column in ensemble.columns.items() if name in used]
        labels: list[tuple[str, str, Quantity]] = []
        for s in sightings:
            row = s.measured
            labels += [(row.id, "front", row.downforce_front), (row.id, "rear", row.downforce_rear)]
            if row.drag is not None:
                labels.append((row.id, "drag", row.drag))
        kind = np.array([label[1] for label in labels])
        # one size for all rows: a slow pass with little load is not followed any better
        structural = discrepancy * np.where(kind == "drag", _mean_drag(sightings), _mean(sightings))
        shared = common * (kind[:, None] == kind[None, :]).astype(float)
        np.fill_diagonal(shared, 1.0)
        noise = np.array([(q.high - q.low) / 2 / Z80 for _, _, q in labels])
        covariance = structural[:, None] * structural * shared + np.diag(noise**2)
        return cls(
            sightings=sightings,
            ensemble=ensemble,
            columns=columns,
            value=np.array([q.best for _, _, q in labels]),
            whiten=np.linalg.inv(np.linalg.cholesky(covariance)),
            deviation=np.sqrt(np.diag(covariance)),
            labels=tuple(labels),
        )

    @property
    def unknowns(self) -> int:
        """Number of deviates: inputs, and two ride heights for each row."""
        return len(self.columns) + 2 * len(self.sightings)

    def start(self, size: int, seed: int) -> Matrix:
        """Return prior draws of the unknowns, ``(size, unknowns)`` [-]."""
        blank = {
            str(i): Quantity(best=0, low=-Z80, high=Z80, unit="", dimension="ratio")
            for i in range(self.unknowns)
        }
        return np.asarray(draw_ensemble(blank, size=size, seed=seed).deviates)

    def placed(self, unknowns: Matrix) -> Float[np.ndarray, "n_draw n_column"]:
        """Return the inputs' own deviates ``(n_draw, n_column)`` of the sampler's unknowns."""
        own = unknowns[:, : len(self.columns)]
        if self.known is None:
            return own
        names = {column: name for name, column in self.ensemble.columns.items()}
        return self.known.moved([names[column] for column in self.columns], own)

    def predict(self, deviates: Matrix) -> Float[np.ndarray, "n_row n_draw"]:
        """Return what the models say of every row, ``(n_row, n_draw)`` [m²]."""
        found: list[np.ndarray] = []
        inputs = np.zeros((deviates.shape[0], self.ensemble.deviates.shape[1]))
        inputs[:, self.columns] = self.placed(deviates)
        pool = replace(self.ensemble, deviates=inputs)
        start = len(self.columns)
        for group in _groups(self.sightings):
            rows = [self.sightings[i].measured for i in group]
            heights = [
                np.stack(
                    [values_at(q(row), deviates[:, start + 2 * i + end])
                     for i, row in zip(group, rows, strict=True)]
                )
                for end, q in enumerate((_front, _rear))
            ]  # fmt: skip
            platform = PlatformState(
                ride_height_front=np.maximum(heights[0], 1e-4),
                ride_height_rear=np.maximum(heights[1], 1e-4),
                speed=np.array([[row.speed.best] for row in rows]),
                density=np.array([[self.sightings[i].density] for i in group]),
                viscosity=np.array([[self.sightings[i].viscosity] for i in group]),
            )
            models = self.sightings[group[0]].models
            load = car_loads(models, platform, draws_of(models, pool))
            shape = heights[0].shape
            three = [
                np.broadcast_to(f, shape)
                for f in (load.downforce_front, load.downforce_rear, load.drag)
            ]
            for i, row in enumerate(rows):
                found += [f[i] for f in (three if row.drag is not None else three[:2])]
        order = [i for group in _groups(self.sightings) for i in group]
        return _in_order(found, order, self.sightings)

    def whitened(self, deviates: Matrix) -> Float[np.ndarray, "n_row n_draw"]:
        """Return predicted less measured in independent standard deviations [-]."""
        return np.asarray(self.whiten @ (self.predict(deviates) - self.value[:, None]))


def _mean(sightings: Sequence[Sighting]) -> float:
    """Return the rows' mean CzS, never below a point [m²]."""
    rows = [s.measured for s in sightings]
    return max(
        float(np.mean([abs(r.downforce_front.best + r.downforce_rear.best) for r in rows])), 0.01
    )


def _mean_drag(sightings: Sequence[Sighting]) -> float:
    """Return the mean CxS of rows that have one [m²]."""
    found = [s.measured.drag.best for s in sightings if s.measured.drag is not None]
    return float(np.mean(found)) if found else 0.0


def _groups(sightings: Sequence[Sighting]) -> list[list[int]]:
    """Return rows that share their models, to be answered in one call."""
    groups: dict[int, list[int]] = {}
    for i, sighting in enumerate(sightings):
        groups.setdefault(id(sighting.models), []).append(i)
    return list(groups.values())


def _in_order(
    found: list[np.ndarray], order: list[int], sightings: Sequence[Sighting]
) -> Float[np.ndarray, "n_row n_draw"]:
    """Return predictions in the order of the rows rather than of the groups."""
    taken = iter(found)
    blocks: dict[int, list[np.ndarray]] = {}
    for i in order:
        count = 2 if sightings[i].measured.drag is None else 3
        blocks[i] = [next(taken) for _ in range(count)]
    return np.stack([field for i in range(len(sightings)) for field in blocks[i]])


def _front(row: Measured) -> Quantity:
    return row.ride_height_front


def _rear(row: Measured) -> Quantity:
    return row.ride_height_rear
