"""Run a prepared case until its loads are known well enough."""

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt

from tuftwork import __version__
from tuftwork.errors import Cancelled, InputError, NotConverged
from tuftwork.flow.checkpoint import read_checkpoint, write_checkpoint
from tuftwork.flow.engine import AbstractEngine, Backend, Moments, Precision, build_engine
from tuftwork.flow.prepare import Prepared, steps_for
from tuftwork.flow.statistics import FEWEST, SeriesMean, series_mean

Floats = npt.NDArray[np.float64]
SAMPLES_PER_LENGTH = 64
"""Load samples while the air travels one body length."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StopRule:
    """When a run may end.

    Attributes
    ----------
    error
        Standard error of downforce area and drag area at which to stop. [m²]
    settle
        Travel before anything is averaged. [body lengths]
    longest
        Travel after which to stop in any case. [body lengths]
    """

    error: float = 0.005
    settle: float = 4.0
    longest: float = 20.0

    def __post_init__(self) -> None:
        if not self.error > 0:
            raise InputError("error", self.error, "m²", "must be above 0")
        if not 0 <= self.settle < self.longest:
            limit = f"must be from 0 to below longest = {self.longest:g}"
            raise InputError("settle", self.settle, "body lengths", limit)
        if not self.longest - self.settle >= 1.0:
            limit = "must be at least 1 body length beyond settle"
            raise InputError("longest", self.longest, "body lengths", limit)


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """What is known while a run goes on.

    Attributes
    ----------
    step, travel
        Steps done and travel. [-], [body lengths]
    downforce_area, drag_area
        Present means with error; None while the flow settles. [m²]
    seconds
        Time since the start. [s]
    rate
        Cell updates per second. [1/s]
    """

    step: int
    travel: float
    downforce_area: SeriesMean | None
    drag_area: SeriesMean | None
    seconds: float
    rate: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PartLoad:
    """Mean load of one part.

    Attributes
    ----------
    name
        Part name.
    downforce_area, drag_area, side_area
        Coefficient areas, downforce positive, side to the right. [m²]
    pitch_volume
        Moment about the lateral axis at ground level and the parts' mid length, nose up positive,
        over dynamic pressure. [m³]
    friction_drag_area
        The share of drag that the wall law gives. [m²]
    """

    name: str
    downforce_area: float
    drag_area: float
    side_area: float
    pitch_volume: float
    friction_drag_area: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FlowResult:
    """A finished run.

    Attributes
    ----------
    prepared
        What was run.
    downforce_area, drag_area, side_area
        Means of all parts with their statistical error. The error of the model is larger: see
        ``notices``. [m²]
    parts
        Loads by part.
    series
        Loads by sample, surface and component, in coefficient areas. Shape (n, n_surface, 6).
    mean, last
        Mean moments and the last ones, in lattice units.
    wall_rows
        Mean force (3), density departure, friction (3) by wall cell, in lattice units.
    travel
        [body lengths]
    reached
        Whether the asked error was reached.
    notices
        Warnings for the reader.
    made_with
        Version, back end, precision, cells, steps, seconds.
    sources
        Keys of the published methods used.
    """

    prepared: Prepared
    downforce_area: SeriesMean
    drag_area: SeriesMean
    side_area: SeriesMean
    parts: tuple[PartLoad, ...]
    series: Floats
    mean: Moments
    last: Moments
    wall_rows: Floats
    travel: float
    reached: bool
    notices: tuple[str, ...]
    made_with: dict[str, str | int | float]
    sources: tuple[str, ...] = field(
        default=("geier2015", "bouzidi2001", "bailey2009", "reichardt1951", "sokal1997")
    )


@dataclass(slots=True)
class _Run:
    """A run in progress."""

    prepared: Prepared
    engine: AbstractEngine
    rule: StopRule
    series: list[Floats] = field(default_factory=list)
    started: float = field(default_factory=time.monotonic)
    first_step: int = 0

    @property
    def pairs(self) -> int:
        """Pairs of steps between two samples."""
        return max(1, steps_for(self.prepared.case, 1.0) // (2 * SAMPLES_PER_LENGTH))

    @property
    def travel(self) -> float:
        """Travel in body lengths."""
        return self.engine.step / steps_for(self.prepared.case, 1.0)

    def settled(self) -> Floats:
        """Total load areas after settling. Shape (n, 6)."""
        n_part = len(self.prepared.case.parts)
        skip = round(steps_for(self.prepared.case, self.rule.settle) / (2 * self.pairs))
        rows = self.series[skip:]
        if not rows:
            return np.zeros((0, 6))
        scale = self.prepared.area_per_force
        return np.asarray(np.stack(rows)[:, 1 : n_part + 1].sum(axis=1) * scale)

    def known(self) -> tuple[SeriesMean, SeriesMean] | None:
        """Return downforce and drag area with errors, once there is enough to say."""
        rows = self.settled()
        if len(rows) < 2 * FEWEST:
            return None
        return series_mean(-rows[:, 2]), series_mean(rows[:, 0])

    def progress(self) -> Progress:
        """Return what to show now."""
        known = self.known()
        seconds = max(time.monotonic() - self.started, 1e-9)
        done = (self.engine.step - self.first_step) * self.prepared.n_plain
        return Progress(
            step=self.engine.step,
            travel=self.travel,
            downforce_area=known[0] if known else None,
            drag_area=known[1] if known else None,
            seconds=seconds,
            rate=done / seconds,
        )


def run(
    prepared: Prepared,
    *,
    rule: StopRule | None = None,
    backend: Backend = "cpu",
    precision: Precision | None = None,
    checkpoint: Path | None = None,
    watch: Callable[[Progress], bool] | None = None,
) -> FlowResult:
    """Run a prepared case and return its loads and fields.

    Parameters
    ----------
    prepared
        From ``prepare``.
    rule
        When to stop; the default stops at 0.005 m² or 20 body lengths.
    backend, precision
        ``"cpu"`` with float64, or ``"cuda"`` with float32 or float16 storage.
    checkpoint
        File for the state: read if it exists, written about every minute and on cancel.
    watch
        Called every sample; returning False cancels the run.

    Returns
    -------
    result
        Loads, fields and notices. ``reached`` says whether the asked error was reached.

    Raises
    ------
    NotConverged
        If the flow diverges; the state is kept beside the checkpoint, ending in ``.lost``.
    Cancelled
        If ``watch`` returned False; the checkpoint holds the state.
    """
    engine = build_engine(prepared.setup, backend, precision)
    engine.start_uniform()
    job = _Run(prepared=prepared, engine=engine, rule=rule or StopRule())
    if checkpoint is not None and checkpoint.is_file():
        job.series = list(read_checkpoint(checkpoint, engine))
        job.first_step = engine.step
    reached = _loop(job, checkpoint, watch)
    return _result(job, reached)


def _loop(job: _Run, checkpoint: Path | None, watch: Callable[[Progress], bool] | None) -> bool:
    """Advance until the rule is met; True if the asked error was reached."""
    engine, rule = job.engine, job.rule
    last_step = steps_for(job.prepared.case, rule.longest)
    saved = time.monotonic()
    while engine.step < last_step:
        engine.advance(job.pairs)
        loads = engine.part_loads()
        _check_sound(job, loads, checkpoint)
        job.series.append(loads)
        if job.travel > rule.settle:
            engine.sample()
        if watch is not None and not watch(job.progress()):
            if checkpoint is not None:
                write_checkpoint(checkpoint, engine, np.stack(job.series))
            raise Cancelled(f"stopped at step {engine.step}, {job.travel:.2f} body lengths")
        if checkpoint is not None and time.monotonic() - saved > 60.0:
            write_checkpoint(checkpoint, engine, np.stack(job.series))
            saved = time.monotonic()
        if len(job.series) % 8 == 0:
            known = job.known()
            if known and max(known[0].error, known[1].error) <= rule.error:
                return True
    return False


def _check_sound(job: _Run, loads: Floats, checkpoint: Path | None) -> None:
    """Raise if the flow has diverged, keeping the state for inspection."""
    largest = np.abs(loads).max() * job.prepared.area_per_force / job.prepared.frontal_area
    length = job.prepared.setup.shape[0]
    if np.all(np.isfinite(loads)) and largest < 1e3 * length:
        return
    kept = ""
    if checkpoint is not None:
        lost = checkpoint.with_suffix(checkpoint.suffix + ".lost")
        write_checkpoint(lost, job.engine, np.stack([*job.series, loads]))
        kept = f" The state is kept in {lost.name}."
    case = job.prepared.case
    raise NotConverged(
        f"the flow diverged at step {job.engine.step} ({job.travel:.2f} body lengths): "
        f"a load is not finite or beyond {1e3 * length:.0f} times the frontal area. "
        f"Lattice speed {case.lattice_speed:g} cells/step, cell {case.cell:g} m: "
        f"lower the lattice speed or use smaller cells.{kept}"
    )


def _result(job: _Run, reached: bool) -> FlowResult:
    """Collect what the run gave."""
    prepared, engine = job.prepared, job.engine
    rows = job.settled()
    mean, wall = engine.means()
    if not engine.n_sample:
        mean, wall = engine.moments(), engine.wall_rows()
    notices = list(prepared.notices)
    if not reached:
        notices.append(
            f"The asked error of {job.rule.error:g} m² was not reached in {job.travel:.1f} lengths."
        )
    seconds = time.monotonic() - job.started
    return FlowResult(
        prepared=prepared,
        downforce_area=series_mean(-rows[:, 2]),
        drag_area=series_mean(rows[:, 0]),
        side_area=series_mean(rows[:, 1]),
        parts=_part_loads(job, wall),
        series=np.stack(job.series) * prepared.area_per_force,
        mean=mean,
        last=engine.moments(),
        wall_rows=wall,
        travel=job.travel,
        reached=reached,
        notices=tuple(notices),
        made_with={
            "version": __version__,
            "backend": engine.backend,
            "precision": engine.precision,
            "cells": prepared.setup.n_cell,
            "steps": engine.step,
            "seconds": round(seconds, 1),
        },
    )


def _part_loads(job: _Run, wall: Floats) -> tuple[PartLoad, ...]:
    """Mean loads by part from the mean wall rows."""
    from tuftwork.flow.engine import lever, sum_by_surface

    prepared = job.prepared
    setup, scale = prepared.setup, prepared.area_per_force
    low, high = prepared.case.bounds()
    centre = np.array([0.5 * (low[0] + high[0]), 0.0, 0.0])
    arm = lever(setup) - ((centre - np.array(prepared.origin)) / prepared.case.cell)[:, None]
    loads = sum_by_surface(wall, arm, setup) * scale
    count = len(setup.walls.surfaces)
    friction = np.bincount(setup.walls.main, weights=wall[4], minlength=count) * scale
    return tuple(
        PartLoad(
            name=part.name,
            drag_area=float(loads[n, 0]),
            side_area=float(loads[n, 1]),
            downforce_area=float(-loads[n, 2]),
            pitch_volume=float(loads[n, 4] * prepared.case.cell),
            friction_drag_area=float(friction[n]),
        )
        for n, part in enumerate(prepared.case.parts, start=1)
    )


def bands(result: FlowResult, *, width: float) -> tuple[Floats, Floats, Floats]:
    """Return drag and downforce area in bands along the car.

    Parameters
    ----------
    result
        A finished run.
    width
        Length of a band. [m]

    Returns
    -------
    start : (n_band,)
        Front edge of each band. [m]
    drag_area, downforce_area : (n_part, n_band)
        Their sums over bands are the parts' loads. [m²]
    """
    if not width > 0:
        raise InputError("width", width, "m", "must be above 0")
    prepared = result.prepared
    walls = prepared.setup.walls
    x = prepared.origin[0] + prepared.case.cell * (walls.cell % prepared.setup.shape[0])
    low, high = prepared.case.bounds()
    margin = 2 * prepared.case.cell
    n = max(1, int(np.ceil((high[0] - low[0] + 2 * margin) / width)))
    start = low[0] - margin + width * np.arange(n)
    band = np.clip(((x - start[0]) // width).astype(int), 0, n - 1)
    count = len(walls.surfaces)
    key = walls.main.astype(int) * n + band
    sums = [
        np.bincount(key, weights=row, minlength=count * n).reshape(count, n)
        for row in (result.wall_rows[0], -result.wall_rows[2])
    ]
    parts = slice(1, len(prepared.case.parts) + 1)
    scale = prepared.area_per_force
    return (
        np.asarray(start, dtype=float),
        np.asarray(sums[0][parts] * scale, dtype=float),
        np.asarray(sums[1][parts] * scale, dtype=float),
    )
