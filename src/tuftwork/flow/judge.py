"""What a case will cost and everything wrong with it, told at once and before anything runs."""

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from tuftwork.errors import InputError
from tuftwork.flow.card_memory import memory_beside
from tuftwork.flow.case import LONGEST_CAR, SHORTEST_CAR, FlowCase
from tuftwork.flow.cost import RATES, watching_time
from tuftwork.flow.engine import PRECISIONS, Backend, Precision
from tuftwork.flow.nest_prepare import Lay, lay_zones
from tuftwork.flow.parts import box_faults, part_faults
from tuftwork.flow.prepare import (
    Prepared,
    blockage_of,
    body_length,
    grid_of,
    prepare,
    refuse_blockage,
    steps_for,
)
from tuftwork.flow.slab_engine import refuse_cards
from tuftwork.flow.slab_law import Share, share_of, share_of_boxes
from tuftwork.flow.slab_nest import columns_of

_PREPARING = 60.0
"""Memory taken per cell while the grid is cut, seen on cars of 1 to 10 million cells. [B]"""
_ROOM = 0.9
"""Share of the free memory that a run may take. [-]"""
HANDING = 1.15
"""Time of a finer box over that of its cells alone: the edges. Seen 1.05 to 1.16 on a card. [-]"""
MOST_CELLS = 4_000_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelCost:
    """What the boxes of one cell size cost.

    Attributes
    ----------
    cell
        [m]
    n_cell
        Cells in all boxes of this size.
    memory, seconds
        Of the run, means and looks included. [B], [s]
    """

    cell: float
    n_cell: int
    memory: float
    seconds: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """Size, memory and time of a case from its grid alone, with what is wrong so far.

    Attributes
    ----------
    shape, n_cell
        Cells along x, y, z of the outermost box, and cells of all boxes; zeros where no grid could
        be laid.
    levels
        What each cell size costs, the largest cells first.
    n_step
        Steps until the longest travel.
    cells_per_length
        Length of all parts over the cell. [-]
    memory, free
        Memory of the run, of each card where several share it, and what is free where that is
        known. [B]
    seconds, rate
        Time at a recorded rate, means and looks included. [s], [1/s]
    watching
        What of that time goes into the means and the looks at the whole field. [s]
    blockage, frontal_area
        Share of the box section, and the parts' shadow. [-], [m²]
    road_cells
        Fewest cells between the road and a part that does not touch it. [-]
    faults
        Everything found without cutting the grid; empty means it may be prepared.
    cards, efficiency
        Graphics cards that share the box, and what they reach of their number's rate. [-]
    """

    shape: tuple[int, int, int]
    n_cell: int
    n_step: int
    cells_per_length: float
    memory: float
    free: float | None
    seconds: float
    rate: float
    blockage: float
    frontal_area: float
    road_cells: float | None
    faults: tuple[InputError, ...]
    levels: tuple[LevelCost, ...] = ()
    cards: int = 1
    efficiency: float = 1.0
    watching: float = 0.0


def free_memory(backend: Backend) -> float | None:
    """Return the memory that is free where the back end keeps its cells, if that is known. [B]."""
    if backend == "cuda":
        try:
            import cupy

            return float(cupy.cuda.Device().mem_info[0])
        except Exception:  # noqa: BLE001 - no card or no driver: whatever it raises, it is not known
            return None
    try:
        with Path("/proc/meminfo").open(encoding="ascii") as file:
            held = dict(line.split(":", 1) for line in file)
        return 1024.0 * float(held["MemAvailable"].split()[0])
    except (OSError, KeyError, ValueError):
        pass
    try:
        return float(os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE"))
    except (AttributeError, OSError, ValueError):
        return None


def forecast(
    case: FlowCase,
    *,
    lengths: float,
    settle: float = 0.0,
    backend: Backend = "cpu",
    precision: Precision | None = None,
    free: float | None = None,
    cards: int = 1,
    samples: float = 0.0,
) -> Forecast:
    """Return size, memory, time and every fault that shows without cutting the grid.

    Parameters
    ----------
    case
        What to run.
    lengths
        Longest travel in lengths of the parts. [-]
    settle
        Travel of it before anything is averaged. [body lengths]
    backend, precision
        As for ``run``.
    free
        Free memory; None asks the machine. [B]
    cards
        How many graphics cards share the box.
    samples
        Memory for fields kept over time, where a card holds the box. [B]
    """
    chosen: Precision = precision or PRECISIONS[backend][0]
    faults = list(part_faults(case))
    is_size_wrong = not SHORTEST_CAR <= body_length(case.parts) <= LONGEST_CAR
    shape, blockage, area = (0, 0, 0), 0.0, 0.0
    boxes: tuple[Lay, ...] = ()
    try:
        origin, shape = grid_of(case)
        has_road = case.road != "none"
        boxes = lay_zones(case.zones, cell=case.cell, origin=origin, shape=shape, has_road=has_road)
    except InputError as fault:
        faults += list(box_faults(case)) or [fault]
    n_cell = sum(box.n_cell for box in boxes)
    if n_cell > MOST_CELLS:
        cure = "Use larger cells or a smaller box."
        limit = f"makes {n_cell:.2g} cells, more than {MOST_CELLS:.0e} can be numbered"
        faults.append(InputError("cell", case.finest, "m", limit, cure))
    elif n_cell:
        try:
            area, blockage = blockage_of(case, shape)
            refuse_blockage(area, blockage)
        except InputError as fault:
            faults.append(fault)
    memory = memory_of(n_cell, backend, chosen)
    share: Share | None = None
    try:
        refuse_cards(backend, cards)
        if cards > 1 and n_cell:
            share = _shared(boxes, cards, RATES[backend, chosen], chosen)
            memory = share.memory
    except InputError as fault:
        faults.append(fault)
    if backend == "cuda" and boxes:
        memory += memory_beside(case, boxes) + samples
    room = free if free is not None else free_memory(backend)
    if room is not None and memory > _ROOM * room:
        coarser = case.finest * (memory / (_ROOM * room)) ** (1 / 3)
        limit = f"{room / 1e9:.1f} GB is free and {100 * _ROOM:.0f} % of it may be used"
        cure = f"Cells of {1030 * coarser:.3g} mm would fit, or a smaller box."
        name = "memory" if cards == 1 else "memory of each card"
        faults.append(InputError(name, round(memory / 1e9, 2), "GB", limit, cure))
    if is_size_wrong:  # whatever else is wrong with the grid comes of that
        faults = faults[:1]
    n_step = steps_for(case, lengths)
    rate = RATES[backend, chosen]
    watching = watching_time(case, n_cell, lengths=lengths, settle=settle, backend=backend)
    each = (memory / max(n_cell, 1), watching / max(n_cell, 1))
    costs = _costs(case, boxes, n_step / rate, each)
    return Forecast(
        shape=shape,
        n_cell=n_cell,
        n_step=n_step,
        cells_per_length=body_length(case.parts) / case.finest,
        memory=memory,
        free=room,
        seconds=share.seconds * n_step + watching if share else sum(cost.seconds for cost in costs),
        rate=rate,
        blockage=blockage,
        frontal_area=area,
        road_cells=_road_cells(case),
        faults=tuple(faults),
        levels=costs,
        cards=cards,
        efficiency=share.efficiency if share else 1.0,
        watching=watching,
    )


def _shared(boxes: Sequence[Lay], cards: int, rate: float, precision: Precision) -> Share:
    """Return what the fullest of several cards holds and does."""
    if len(boxes) == 1:
        return share_of(boxes[0].shape, cards, rate=rate, precision=precision)
    columns = columns_of([(box.level, box.parent, box.at, box.shape) for box in boxes])
    return share_of_boxes(columns, cards, rate=rate, precision=precision, edge=HANDING)


def _costs(
    case: FlowCase, boxes: Sequence[Lay], per_step: float, each: tuple[float, float]
) -> tuple[LevelCost, ...]:
    """Cost by cell size; finer cells take more steps, and every step hands over at their edges.

    ``each`` cell takes so much memory, and so much time for means and looks. [B], [s]
    """
    per_cell, watching = each
    out = []
    for level in sorted({box.level for box in boxes}):
        n_cell = sum(box.n_cell for box in boxes if box.level == level)
        edge = HANDING if level else 1.0
        out.append(
            LevelCost(
                cell=case.cell / 2**level,
                n_cell=n_cell,
                memory=per_cell * n_cell,
                seconds=n_cell * (edge * per_step * 2**level + watching),
            )
        )
    return tuple(out)


def memory_of(n_cell: int, backend: Backend, precision: Precision) -> float:
    """Return the memory of a box where its cells are kept, cutting the grid included. [B]."""
    size = {"float64": 8, "float32": 4, "float16": 2}[precision]
    mean = 4 * (8 if backend == "cpu" else 4)
    running = 27 * size + mean + (1 if backend == "cpu" else 3)  # mark; on a card where one looks
    return float(n_cell) * (running + (_PREPARING if backend == "cpu" else 0.0))


def _road_cells(case: FlowCase) -> float | None:
    """Fewest cells between the road and a part that stands clear of it."""
    if case.road == "none":
        return None
    lows = [float(p.vertices[:, 2].min()) for p in case.parts if p.spin is None]
    clear = [low for low in lows if low > 1e-6]
    return min(clear) / case.finest if clear else None


def prepared_or_faults(
    case: FlowCase, seen: Forecast
) -> tuple[Prepared | None, tuple[InputError, ...]]:
    """Return the case ready to run, or everything that speaks against it.

    Parameters
    ----------
    case
        What to run.
    seen
        Its forecast; with faults in it nothing is cut.
    """
    if seen.faults:
        return None, seen.faults
    try:
        return prepare(case), ()
    except InputError as fault:
        return None, (fault,)
