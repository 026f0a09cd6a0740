"""Engines compiled ahead, on another core, while the first steps of a study run.

The kernels of laps and sections take seconds to compile on a machine that has never run them. A
process of its own compiles them into the cache on the disk at the start of a run that will need
them; the first step that does waits for it.
"""

import os
import subprocess
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from tuftwork.study.step import Pulse, Step, Work, digests_of
from tuftwork.study.store import Store, Tree


def compile_laps() -> None:
    """Run one short lap with its slopes."""
    from tuftwork.lap import solve_lap
    from tuftwork.lap.demo import brackenholt, halyard, halyard_aero

    solve_lap(brackenholt(), halyard(), halyard_aero(), gradient=True)


def compile_circles() -> None:
    """Find the limit of one steady circle."""
    from tuftwork.lap import corner_speed
    from tuftwork.lap.demo import halyard, halyard_aero

    corner_speed(100.0, halyard(), halyard_aero())


def compile_sections() -> None:
    """Solve one section with its layers."""
    from tuftwork.section import Condition, analyse, naca, single

    analyse(single(naca("4412")), Condition(reynolds=1e6), 0.05)


def compile_floors() -> None:
    """Solve one floor in plan and read a table."""
    from math import radians

    import numpy as np

    from tuftwork.floor import FloorClosure, Stand, plane_diffuser, solve_plan
    from tuftwork.floor.table import N_OUT, FloorTable, read_terms

    shape = plane_diffuser(width=0.3, front=0.0, kick=0.8, exit=1.3, angle=radians(8))
    stand = Stand(front=0.05, rear=0.05, wheelbase=1.0)
    solve_plan(shape, stand, FloorClosure(), n_x=20, n_y=4)
    ends = np.array([0.0, 1.0])
    table = FloorTable(
        front=ends, rear=ends, terms=np.zeros((2, 2, N_OUT, 15)), slopes=np.zeros((0, 2)),
        lengths=(), scale=1.0, error=0.0, peak=ends, wheelbase=1.0, notices=(),
    )  # fmt: skip
    read_terms(table, ends, ends, np.zeros((2, 4)))


def compile_fronts() -> None:
    """Solve channels under a splitter, alone and two together, and settle a state."""
    from dataclasses import replace

    import numpy as np

    from tuftwork.floor.front_kernel import N_OUT, N_VAR
    from tuftwork.floor.front_make import solve_strip
    from tuftwork.floor.front_pair import solve_channels
    from tuftwork.floor.front_spec import FrontSpec, FrontStrip
    from tuftwork.floor.front_table import (
        N_TERM,
        FrontState,
        StripState,
        StripTable,
        evaluate,
    )

    strip = FrontStrip(name="middle", width=1.0, end=0.6)
    spec = FrontSpec(lip=0.0, projection=0.1, strips=(strip,), bends=False, gap=(0.02, 0.08),
                     reynolds=3e6)  # fmt: skip
    point = np.array([0.0, 0.0, 0.1, 1.0, 0.5, 0.5, 0.1, 1.0, 0.1, 0.5])
    solve_strip(spec, strip, 0.05, point)
    beside = replace(spec, strips=(strip, replace(strip, name="ramps")), passage=(1.0, 1.0))
    solve_channels(beside, 0.05, point)
    table = StripTable(
        gap=np.array([0.02, 0.08]), middle=point, half=np.zeros(N_VAR),
        terms=np.zeros((2, N_OUT, N_TERM)),
        scale=1.0, error=0.0, peak=0.04, length=0.6,
    )  # fmt: skip
    one = np.ones(1)
    front = FrontState(
        gap=0.05 * one, slope=0 * one, head=one, upper=0.1 * one, softness=0 * one,
        projection=0.1 * one, lip_radius=0.01 * one, onset=0 * one, tolerance=one, gain=one,
    )  # fmt: skip
    own = StripState(width=one, pressure=0 * one, beside=0 * one, outlet=1e9 * one, share=0 * one,
                     leak=0 * one, mixing=0 * one, rise=one)  # fmt: skip
    evaluate((table,), (0.0,), front, (own,))


def compile_nets() -> None:
    """Solve one air net with a core in it."""
    import numpy as np

    from tuftwork.cooling import AirNet, Cooler, Core, Exit, Inlet, Surroundings, solve_air
    from tuftwork.cooling.exchanger import effectiveness

    core = Core(face_area=0.2, linear_loss=16.0, square_loss=3.0, mass_velocity=(1.0, 10.0),
                conductance=(2500.0, 9000.0))  # fmt: skip
    net = AirNet(
        elements=(
            Inlet(name="in", end="before", area=0.1),
            Cooler(name="core", start="before", end="behind", core=core),
            Exit(name="out", start="behind", net_area=0.06),
        )
    )
    solve_air(net, Surroundings(speed=50.0, temperature=293.0), heats={"core": 4e4})
    effectiveness(np.array([2.0]), np.array([0.3]))


def compile_rides() -> None:
    """Follow one platform over a small map."""
    import numpy as np

    from tuftwork.aeromap.equilibrium import follow_path, solve_equilibria
    from tuftwork.aeromap.interpolate import evaluate, evaluate_with_slopes, surface_of
    from tuftwork.aeromap.platform import AxleRates, Suspension, axle_spring

    flat = np.zeros(2)
    rates = AxleRates(
        wheel_rate=flat + 75e3, tyre_rate=flat + 265e3, stop_gap=np.zeros((2, 0)),
        stop_rate=np.zeros((2, 0)),
    )  # fmt: skip
    front, rear = (
        axle_spring(rates, ride_height=flat + height, growth=flat, static_load=flat + 6e3)
        for height in (0.058, 0.071)
    )
    springs = Suspension(front=front, rear=rear, inputs={})
    axes = np.linspace(0.02, 0.08, 5), np.linspace(0.03, 0.09, 5)
    surface = surface_of(*axes, np.full((3, 5, 5, 2), 0.5))
    speed, density = np.array([30.0, 50.0]), flat + 1.2
    follow_path(surface, springs, speed=speed, density=density, partial=True)
    solve_equilibria(surface, springs, speed=speed, density=density)
    here = np.full((1, 2), 0.05), np.full((1, 2), 0.06)
    evaluate(surface, *here)
    evaluate_with_slopes(surface, *here)


KERNELS: Mapping[str, Callable[[], None]] = {
    "lap": compile_laps, "sections": compile_sections, "floor": compile_floors,
    "front": compile_fronts, "grip": compile_circles, "tie": compile_nets, "ride": compile_rides,
}  # fmt: skip
"""First word of a step's name → what compiles its kernels."""
KEPT: Mapping[str, tuple[str, ...]] = {
    "lap": ("lap/kernel.solve_point", "lap/passes.run", "lap/adjoint.gradient"),
    "sections": ("section/influence.all_psi", "section/newton.eliminate"),
    "floor": ("floor/line_kernel.jacobian", "floor/plan_kernel.residuals", "floor/table._read"),
    "front": (
        "floor/line_kernel.jacobian",
        "floor/pair_kernel.pair_jacobian",
        "floor/front_kernel.settle",
    ),
    "grip": ("lap/kernel.cap_energy",),
    "tie": ("cooling/_hydraulics.solve_all", "cooling/exchanger._crossflow_series"),
    "ride": ("aeromap/follow.follow_draws", "aeromap/root.find_roots", "aeromap/patch.read_draws"),
}
"""The same → kernels that the cache on the disk holds once they were compiled."""


def is_compiled(kind: str) -> bool:
    """Return whether the cache on the disk holds a kind's kernels as their sources now stand."""
    return all(_is_kept(kernel) for kernel in KEPT[kind])


def _is_kept(kernel: str) -> bool:
    room, _, name = kernel.partition("/")
    folder = Path(__file__).parents[1] / room
    made = [path.stat().st_mtime for path in (folder / "__pycache__").glob(f"{name}-*.nbi")]
    source = folder / f"{name.partition('.')[0]}.py"
    return max(made, default=0.0) > source.stat().st_mtime


@contextmanager
def compiled_ahead(steps: Sequence[Step], store: Store) -> Iterator[list[Step]]:
    """Give the steps back, those that need kernels waiting until these are compiled."""
    digests = digests_of(steps)
    kinds = [
        kind
        for kind in KERNELS
        if any(_is_of(step, kind) and digests[step.name] not in store for step in steps)
        and not is_compiled(kind)
    ]
    if not kinds or (os.cpu_count() or 1) < 2:
        yield list(steps)
        return
    processes = {kind: _compiling(kind) for kind in kinds}
    try:
        yield [
            next(
                (
                    replace(step, work=_after(process, step.work))
                    for kind, process in processes.items()
                    if _is_of(step, kind)
                ),
                step,
            )
            for step in steps
        ]
    finally:
        for process in processes.values():
            if process.poll() is None:
                process.kill()
            process.wait()


def _compiling(kind: str) -> "subprocess.Popen[bytes]":
    return subprocess.Popen(
        [sys.executable, "-m", "tuftwork.study.ahead", kind],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
    )


def _is_of(step: Step, kind: str) -> bool:
    return step.name.partition(" ")[0] == kind


def _after(process: "subprocess.Popen[bytes]", work: Work) -> Work:
    def run(results: Mapping[str, Tree], pulse: Pulse) -> Tree:
        while process.poll() is None:
            pulse.beat(0.0)  # a stop is heard while waiting
            try:
                process.wait(timeout=0.1)
            except subprocess.TimeoutExpired:
                continue
        return work(results, pulse)

    return run


if __name__ == "__main__":
    for name in sys.argv[1:]:
        KERNELS[name]()
