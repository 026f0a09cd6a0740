"""Run a prepared case until its loads are known well enough."""

import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from tuftwork import __version__
from tuftwork.errors import Cancelled, NotConverged
from tuftwork.flow.checkpoint import Saved, Shelf, put_back, seconds_of, settled_again, to_save
from tuftwork.flow.core_flow import core_flows, fan_doubts
from tuftwork.flow.cost import SAMPLES_A_LOOK
from tuftwork.flow.cut import momentum_unit
from tuftwork.flow.doubt import Doubt, Lookout, jump_between_halves
from tuftwork.flow.doubt_kept import doubts_as_text, recall_doubts
from tuftwork.flow.engine import PRECISIONS, AbstractEngine, Backend, Precision
from tuftwork.flow.over_time import Keeper, OverTime, pairs_between
from tuftwork.flow.part_load import part_loads, sum_parts
from tuftwork.flow.passage import with_flux
from tuftwork.flow.prepare import Prepared, steps_for
from tuftwork.flow.result import FlowResult
from tuftwork.flow.slab_engine import build_cards
from tuftwork.flow.statistics import FEWEST, SeriesMean, series_mean
from tuftwork.flow.stop import Progress, StopRule, start_up_notices
from tuftwork.flow.through import AGREED, Exchange

Floats = npt.NDArray[np.float64]
_SETTLED = 1.0
"""Travel before the net is asked: waves of the start pass first. [body lengths]"""
_WINDOW = 0.5
"""Travel over whose samples the net is told the mean pressures. [body lengths]"""


@dataclass(slots=True)
class _Run:
    """A run in progress."""

    prepared: Prepared
    engine: AbstractEngine
    rule: StopRule
    lookout: Lookout
    exchange: Exchange
    series: list[Floats] = field(default_factory=list)
    started: float = field(default_factory=lambda: time.monotonic())
    first_step: int = 0
    before: float = 0.0
    """Time that earlier processes spent on the steps up to ``first_step``. [s]"""
    keeper: Keeper | None = None

    @property
    def pairs(self) -> int:
        """Pairs of steps between two samples."""
        return pairs_between(self.prepared.case)

    @property
    def per_length(self) -> float:
        """Samples in a body length."""
        return steps_for(self.prepared.case, 1.0) / (2 * self.pairs)

    @property
    def travel(self) -> float:
        """Travel in body lengths."""
        return self.engine.step / steps_for(self.prepared.case, 1.0)

    @property
    def own_seconds(self) -> float:
        """Time since this process began to run. [s]"""
        return max(time.monotonic() - self.started, 1e-9)

    @property
    def seconds(self) -> float:
        """Time of this process and of those before it. [s]"""
        return self.before + self.own_seconds

    def saved(self, *more: Floats) -> Saved:
        """Return what to keep, with loads that are not in the series."""
        series = np.stack([*self.series, *more])
        state = to_save(self.engine, series, seconds=self.seconds, settle=self.rule.settle)
        return state | {"doubts": np.array(doubts_as_text(self.lookout))}

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
        done = (self.engine.step - self.first_step) * self.prepared.n_plain
        return Progress(
            step=self.engine.step,
            travel=self.travel,
            downforce_area=known[0] if known else None,
            drag_area=known[1] if known else None,
            seconds=self.seconds,
            rate=done / self.own_seconds,
            doubts=self.lookout.told(),
        )

    def look(self) -> None:
        """Look at the whole field."""
        self.lookout.look(self.engine.each, self.prepared.case.lattice_speed, self.travel)

    def tie(self) -> None:
        """Let flow and net answer one another."""
        exchange, boxes = self.exchange, self.engine.each
        exchange.note([
            face.mean(lambda box, cells: boxes[box].densities(cells)) for face in exchange.faces
        ])  # fmt: skip
        if self.travel <= _SETTLED:
            exchange.window.clear()
        elif len(exchange.window) >= max(8, round(_WINDOW * self.per_length)):
            exchange.ask()
        if exchange.ease():
            flux = exchange.flux(exchange.flows)
            for n, engine in enumerate(boxes):
                engine.set_surfaces(with_flux(engine.surface_table(), exchange.faces, n, flux))


def run(
    prepared: Prepared,
    *,
    rule: StopRule | None = None,
    backend: Backend = "cpu",
    precision: Precision | None = None,
    cards: int = 1,
    checkpoint: Shelf | None = None,
    watch: Callable[[Progress], bool] | None = None,
    over_time: OverTime | None = None,
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
    cards
        How many graphics cards share the box; above 1 it is cut into slabs.
    checkpoint
        Where the state is kept: read if there is one, written about every minute and on cancel.
        A longer ``rule.settle`` than that of its run begins all means anew.
    watch
        Called every sample; returning False cancels the run.
    over_time
        Fields that are kept as the run goes on, from ``rule.settle`` on. One that goes on from a
        checkpoint goes on with what was kept up to it.

    Returns
    -------
    result
        Loads, fields and notices. ``reached`` says whether the asked error was reached.

    Raises
    ------
    NotConverged
        If the flow diverges; the state is kept beside the checkpoint.
    Cancelled
        If ``watch`` returned False; the checkpoint holds the state.
    """
    engine = build_cards(prepared, backend, precision or PRECISIONS[backend][0], cards)
    try:
        return _run_on(engine, prepared, rule or StopRule(), (checkpoint, watch, over_time))
    finally:
        engine.close()


def _run_on(
    engine: AbstractEngine,
    prepared: Prepared,
    rule: StopRule,
    given: tuple[Shelf | None, Callable[[Progress], bool] | None, OverTime | None],
) -> FlowResult:
    """Run on an engine until the rule is met."""
    checkpoint, watch, over_time = given
    engine.start_uniform()
    job = _Run(
        prepared=prepared, engine=engine, rule=rule, lookout=Lookout.over(prepared),
        exchange=_exchange(prepared),
    )  # fmt: skip
    saved, is_anew = checkpoint.read() if checkpoint is not None else None, False
    if checkpoint is not None and saved is not None:
        job.series = list(put_back(engine, saved, checkpoint.name))
        job.first_step, job.before = engine.step, seconds_of(saved)
        job.exchange.flows = _flows_of(prepared, engine)
        if "doubts" in saved:  # an older version kept none
            recall_doubts(job.lookout, str(saved["doubts"]))
        is_anew = settled_again(engine, saved, settle=rule.settle, travel=job.travel)
    if over_time is not None:
        step = 0 if is_anew else engine.step
        job.keeper = Keeper.of(prepared, over_time, settle=rule.settle, step=step)
    reached = _loop(job, checkpoint, watch)
    if job.exchange.mismatch > AGREED:
        kept = ""
        if checkpoint is not None:
            checkpoint.write(job.saved())
            kept = " The state is kept: it goes on with a longer run."
        raise NotConverged(
            f"flow and cooling net do not agree to {100 * AGREED:.0f} % after {job.travel:.1f} "
            "body "
            f"lengths: {job.exchange.why_apart()}.{kept}"
        )
    return _result(job, reached)


def _exchange(prepared: Prepared) -> Exchange:
    """Return flow and net at their start."""
    case = prepared.case
    return Exchange(
        faces=prepared.passages, tie=case.tie, unit=momentum_unit(case),
        pressure_unit=2.0 / (3.0 * case.lattice_speed**2), speed_unit=1.0 / case.lattice_speed,
        flows=np.array([passage.opening.mass_flow for passage in prepared.passages]),
    )  # fmt: skip


def _flows_of(prepared: Prepared, engine: AbstractEngine) -> Floats:
    """Return the flows through the faces as the engine has them. [kg/s]."""
    tables = [one.surface_table() for one in engine.each]
    unit = momentum_unit(prepared.case)
    flows = []
    for passage in prepared.passages:
        piece = passage.pieces[0]
        row = tables[piece.box][piece.surface]
        flows.append(np.linalg.norm(row[1:4]) * passage.area * unit)
    return np.array(flows)


def _loop(job: _Run, checkpoint: Shelf | None, watch: Callable[[Progress], bool] | None) -> bool:
    """Advance until the rule is met; True if the asked error was reached."""
    engine, rule = job.engine, job.rule
    last_step = steps_for(job.prepared.case, rule.longest)
    saved = time.monotonic()
    while engine.step < last_step:
        engine.advance(job.pairs)
        loads = engine.part_loads()
        _check_sound(job, loads, checkpoint)
        job.series.append(loads)
        if job.exchange.tie is not None:
            job.tie()
        if len(job.series) % SAMPLES_A_LOOK == 0:
            job.look()
        if job.travel > rule.settle:
            engine.sample()
        if job.keeper is not None:
            job.keeper.look(engine, job.travel, len(job.series))
        if watch is not None and not watch(job.progress()):
            if checkpoint is not None:
                checkpoint.write(job.saved())
            raise Cancelled(f"stopped at step {engine.step}, {job.travel:.2f} body lengths")
        if checkpoint is not None and time.monotonic() - saved > 60.0:
            checkpoint.write(job.saved())
            saved = time.monotonic()
        if len(job.series) % 8 == 0:
            known = job.known()
            if known and rule.is_met(known) and job.exchange.mismatch <= AGREED:
                return True
    return False


def _check_sound(job: _Run, loads: Floats, checkpoint: Shelf | None) -> None:
    """Raise if the flow has diverged, keeping the state for inspection."""
    largest = np.abs(loads).max() * job.prepared.area_per_force / job.prepared.frontal_area
    length = job.prepared.setup.shape[0]
    if np.all(np.isfinite(loads)) and largest < 1e3 * length:
        return
    kept = ""
    if checkpoint is not None:
        name = checkpoint.write_lost(job.saved(loads))
        kept = f" The state is kept in {name}."
    with np.errstate(all="ignore"):
        job.look()  # where it is worst is what explains it
    case = job.prepared.case
    signs = "".join(f" {d.text}" for d in job.lookout.told())
    raise NotConverged(
        f"the flow diverged at step {job.engine.step} ({job.travel:.2f} body lengths): "
        f"a load is not finite or beyond {1e3 * length:.0f} times the frontal area. "
        f"Lattice speed {case.lattice_speed:g} cells/step, cell {case.cell:g} m: "
        f"lower the lattice speed or use smaller cells.{signs}{kept}"
    )


def _result(job: _Run, reached: bool) -> FlowResult:
    """Collect what the run gave."""
    prepared, engine = job.prepared, job.engine
    rows = job.settled()
    seen = engine.shown()
    boxes = (prepared, *prepared.boxes)
    notices = list(prepared.notices)
    if not reached:
        notices.append(
            f"The asked error of {job.rule.asked} was not reached in {job.travel:.1f} lengths."
        )
    notices += start_up_notices(job.rule, rows, job.travel)
    cores = core_flows([(box, s.mean, s.rows) for box, s in zip(boxes, seen, strict=True)])
    doubts = (*_doubts(job, rows), *fan_doubts(cores, prepared.case.parts, job.travel))
    notices += [doubt.text for doubt in doubts]
    departure = np.array([
        passage.mean(lambda box, cells: seen[box].rows[3, cells], shown=True)
        for passage in prepared.passages
    ])  # fmt: skip
    result = FlowResult(
        prepared=prepared,
        downforce_area=series_mean(-rows[:, 2]),
        drag_area=series_mean(rows[:, 0]),
        side_area=series_mean(rows[:, 1]),
        parts=sum_parts(
            [part_loads(box, s.rows) for box, s in zip(boxes[::-1], seen[::-1], strict=True)]
        ),
        series=np.stack(job.series) * prepared.area_per_force,
        mean=seen[0].mean,
        last=seen[0].last,
        wall_rows=seen[0].rows,
        last_rows=seen[0].last_rows,
        travel=job.travel,
        reached=reached,
        notices=tuple(notices),
        made_with={
            "version": __version__,
            "backend": engine.backend,
            "precision": engine.precision,
            "cards": engine.cards,
            "cells": sum(setup.n_cell for setup in engine.setups),
            "steps": engine.step,
            "seconds": round(job.seconds, 1),
        },
        cores=cores,
        openings=job.exchange.rows(departure, prepared.case.cell),
        doubts=doubts,
    )
    finer = [
        replace(result, prepared=box, mean=s.mean, last=s.last, wall_rows=s.rows,
                last_rows=s.last_rows)
        for box, s in zip(boxes[1:], seen[1:], strict=True)
    ]  # fmt: skip
    return replace(result, boxes=tuple(finer))


def _doubts(job: _Run, rows: Floats) -> tuple[Doubt, ...]:
    """Everything that speaks for a finite but wrong flow, after a last look."""
    job.look()
    loads = [("the downforce area", -rows[:, 2]), ("the drag area", rows[:, 0])]
    jump = jump_between_halves(loads, job.travel)
    return (*job.lookout.told(), *([jump] if jump is not None else []))
