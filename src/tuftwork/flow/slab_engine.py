"""A box in slabs, seen from outside as one engine: the same answers, states and checkpoints.

A crew is who does the slabs' work: in this process, in one process a slab, or under MPI. What is
saved is laid out as for the whole box, so a run stopped on two cards goes on on one or on four.
"""

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, Protocol, runtime_checkable

import numpy as np
import numpy.typing as npt

from tuftwork.errors import InputError
from tuftwork.flow.doubt import Extremes, Looked
from tuftwork.flow.engine import AbstractEngine, Backend, Precision
from tuftwork.flow.moments import Moments
from tuftwork.flow.setup import Floats, Setup
from tuftwork.flow.slab import Slab, cut_slabs
from tuftwork.flow.slab_look import join_extremes, with_planes
from tuftwork.flow.slab_part import Part

if TYPE_CHECKING:
    from tuftwork.flow.prepare import Prepared
    from tuftwork.flow.slab_nest import Stack


@runtime_checkable
class Crew(Protocol):
    """Those who do the slabs' work."""

    def ask(self, verb: str, each: Sequence[tuple[Any, ...]]) -> list[Any]:
        """Have every slab do something, each with its own arguments, and return the answers."""
        ...

    def close(self) -> None:
        """Let go of the slabs."""
        ...


class Hand:
    """Answers for one slab: the verbs that a crew knows."""

    def __init__(self, part: Part, advance: Callable[[int], None]) -> None:
        self.part = part
        self._advance = advance

    def do(self, verb: str, arguments: tuple[Any, ...]) -> Any:
        """Do what is asked and return the answer."""
        part, engine = self.part, self.part.engine
        part.use()
        verbs: dict[str, Callable[..., Any]] = {
            "start": part.start,
            "start_uniform": engine.start_uniform,
            "advance": self._advance,
            "moments": part.moments,
            "rows": engine.wall_rows,
            "loads": part.loads,
            "surfaces": part.set_surfaces,
            "force": part.set_force,
            "count": engine.count,
            "look": part.look,
            "extremes": part.extremes,
            "layers": part.layers,
            "densities": part.densities,
            "stream": part.set_stream,
            "sample": engine.sample,
            "means": part.means,
            "clear": engine.clear,
            "state": part.state,
            "restore": part.restore,
            "wait": getattr(engine, "wait", lambda: None),
        }
        return verbs[verb](*arguments)


class SlabEngine(AbstractEngine):
    """Several slabs as one engine.

    Parameters
    ----------
    setup
        The whole box.
    slabs
        As ``cut_slabs`` gives them.
    crew
        Who does their work.
    """

    def __init__(
        self,
        setup: Setup,
        slabs: Sequence[Slab],
        crew: Crew,
        *,
        backend: Backend = "cpu",
        precision: Precision = "float64",
    ) -> None:
        super().__init__(setup)
        self.backend, self.precision = backend, precision
        self.slabs, self.crew, self.cards = tuple(slabs), crew, len(slabs)
        self._table = setup.walls.table()
        self._looked: Looked | None = None

    def _all(self, verb: str, *arguments: Any) -> list[Any]:
        return self.crew.ask(verb, [arguments] * len(self.slabs))

    def start(self, density: Floats, velocity: Floats) -> None:
        """Set every cell to equilibrium at this density and velocity."""
        velocity = np.asarray(velocity)
        each = [(density[s.low : s.high], velocity[:, s.low : s.high]) for s in self.slabs]
        self.crew.ask("start", each)
        self.step = 0

    def start_uniform(self) -> None:
        """Set every cell to the free stream."""
        self._all("start_uniform")
        self.step = 0

    def advance(self, n_pair: int) -> None:
        """Advance by ``2 n_pair`` steps."""
        self._all("advance", n_pair)
        self.step += 2 * n_pair

    def half_pair(self, even: bool) -> None:
        """Not for slabs: planes are handed over in pairs."""
        raise NotImplementedError("slabs step in pairs")

    def count(self, share: Floats) -> None:
        """Say which share of each wall cell's load is summed. Shape (n_wall,)."""
        self.counted = share
        self.crew.ask("count", [(share[s.wall],) for s in self.slabs])

    def wait(self) -> None:
        """Wait until every card has done what it was given."""
        self._all("wait")

    def _fields(self, parts: Sequence[Floats]) -> Moments:
        rows = np.concatenate(parts, axis=1)
        return Moments(density=rows[0], velocity=rows[1:])

    def moments(self) -> Moments:
        """Return density and velocity now."""
        return self._fields(self._all("moments"))

    def _walls(self, parts: Sequence[npt.NDArray[np.generic]]) -> npt.NDArray[np.generic]:
        rows = np.zeros((len(parts[0]), self.setup.walls.cell.size), parts[0].dtype)
        for slab, own in zip(self.slabs, parts, strict=True):
            rows[:, slab.wall] = own
        return rows

    def wall_rows(self) -> Floats:
        """Return the wall rows, mean of the last two steps."""
        return np.asarray(self._walls(self._all("rows")), dtype=float)

    def part_loads(self) -> Floats:
        """Return force and moment by surface, mean of the last two steps."""
        return np.asarray(np.sum(self._all("loads"), axis=0), dtype=float)

    def set_surfaces(self, table: Floats) -> None:
        """Change speeds and flows of the surfaces."""
        self._table = np.array(table, dtype=float)
        self._all("surfaces", self._table)

    def surface_table(self) -> Floats:
        """Return the surface table as it is now."""
        return self._table.copy()

    def densities(self, cells: npt.NDArray[np.int64]) -> Floats:
        """Return the density departure of some wall cells, mean of two steps. Shape (n,)."""
        owner = np.zeros(self.setup.walls.cell.size, np.int64)
        place = np.zeros_like(owner)
        for slab in self.slabs:
            owner[slab.wall], place[slab.wall] = slab.number, np.arange(slab.wall.size)
        mine = [owner[cells] == slab.number for slab in self.slabs]
        parts = self.crew.ask("densities", [(place[cells[m]],) for m in mine])
        found = np.zeros(len(cells))
        for m, own in zip(mine, parts, strict=True):
            found[m] = own
        return found

    def layers(self, wanted: Sequence[tuple[int, int]]) -> list[Floats]:
        """Return pairs of layers now; of each slab only its rows of them are asked for."""
        found = self._all("layers", list(wanted))
        # lying layers come one or both from one slab, of upright ones each slab has its rows
        return [
            np.concatenate([own[n] for own in found], axis=1 if axis == 2 else 2)
            for n, (axis, _) in enumerate(wanted)
        ]

    def extremes(self, looked: Looked, speed: float) -> Extremes:
        """Return the largest and smallest values now; each slab looks at its own layers first."""
        if self._looked is not looked:
            rows = [slice(s.low, s.high) for s in self.slabs]
            self.crew.ask("look", [(looked.air[r], looked.still[r]) for r in rows])
            self._looked = looked
        found = self._all("extremes", speed)
        seen = join_extremes([(one, count) for one, count, _ in found])
        planes = [slab.low for slab in self.slabs[1:]]
        return with_planes(seen, planes, [edges for _, _, edges in found], looked.air, speed)

    def set_force(self, force: tuple[float, float, float]) -> None:
        """Change the body force from now on."""
        self._all("force", force)

    def set_stream(self, profile: Floats) -> None:
        """Change the imposed profile (3, lz, ly) from now on; the setup must have had one."""
        self.crew.ask("stream", [(profile[:, s.low : s.high],) for s in self.slabs])

    def sample(self) -> None:
        """Add the present state to the running means."""
        self._all("sample")
        self.n_sample += 1

    def means(self) -> tuple[Moments, Floats]:
        """Return mean moments and mean wall rows."""
        found = self._all("means")
        rows = self._walls([own[1] for own in found])
        return self._fields([own[0] for own in found]), np.asarray(rows, dtype=float)

    def clear(self) -> None:
        """Forget the samples taken."""
        self._all("clear")
        self.n_sample = 0

    def state(self) -> dict[str, npt.NDArray[np.generic]]:
        """Return every array needed to go on later, laid out as for the whole box."""
        found = self._all("state")
        joined: dict[str, npt.NDArray[np.generic]] = {}
        for name, n in (("populations", 27), ("mean", 4)):
            joined[name] = np.concatenate([own[name] for own in found], axis=1).reshape(n, -1)
        if self.backend == "cuda":
            joined["populations"] = joined["populations"].reshape(-1)
        for name in ("rows", "mean_rows"):
            joined[name] = self._walls([own[name] for own in found])
        count = np.array([self.step, self.n_sample])
        return joined | {"count": count, "surface": self._table}

    def restore(self, state: dict[str, npt.NDArray[np.generic]]) -> None:
        """Go back to a saved state, whoever saved it."""
        lx, ly, lz = self.setup.shape
        each = []
        for slab in self.slabs:
            own = {"count": state["count"], "surface": state["surface"]}
            for name, n in (("populations", 27), ("mean", 4)):
                own[name] = state[name].reshape(n, lz, ly, lx)[:, slab.low : slab.high]
            for name in ("rows", "mean_rows"):
                own[name] = state[name][:, slab.wall]
            each.append((own,))
        self.crew.ask("restore", each)
        self._table = np.array(state["surface"], dtype=float)
        self.step, self.n_sample = (int(x) for x in state["count"])

    def close(self) -> None:
        """Let go of the slabs."""
        self.crew.close()


def slabs_on_cards(setup: Setup, cards: int, precision: Precision = "float32") -> SlabEngine:
    """Return an engine of slabs, each on a graphics card of its own.

    One process a card on this host; under MPI, one a rank.

    Parameters
    ----------
    setup
        The whole box.
    cards
        How many.
    precision
        Storage of the populations.

    Raises
    ------
    InputError
        If CuPy, NCCL or mpi4py is missing, or there are fewer cards; says what to do.
    """
    slabs = cut_slabs(setup, cards)
    crew = crew_on_cards(slabs, precision)
    return SlabEngine(setup, slabs, crew, backend="cuda", precision=precision)


def crew_on_cards(shares: "Sequence[Slab | Stack]", precision: Precision) -> Crew:
    """Return a crew with a card for each share.

    Parameters
    ----------
    shares
        A slab of a box each, or of several boxes.
    precision
        Storage of the populations.
    """
    from tuftwork.flow.slab_crew import MpiCrew, PipeCrew, mpi_world

    world = mpi_world()
    if world is None:
        return PipeCrew(shares, "cuda", precision)
    return MpiCrew(shares, "cuda", precision, world)


def build_cards(
    prepared: "Prepared", backend: Backend, precision: Precision | None, cards: int
) -> AbstractEngine:
    """Return the engine of a prepared case on one card or shared among several.

    Parameters
    ----------
    prepared
        From ``prepare``.
    backend, precision
        As for ``run``.
    cards
        How many.

    Raises
    ------
    InputError
        If several cards are asked for where they cannot be used; says what to do.
    """
    if cards == 1:
        from tuftwork.flow.nest_engine import build_boxes

        return build_boxes(prepared, backend, precision)
    refuse_cards(backend, cards)
    if prepared.nests:
        from tuftwork.flow.slab_nest_engine import boxes_on_cards

        return boxes_on_cards(prepared.nests, cards, precision or "float32")
    return slabs_on_cards(prepared.setup, cards, precision or "float32")


def refuse_cards(backend: Backend, cards: int) -> None:
    """Raise if a case cannot be shared among several cards.

    Raises
    ------
    InputError
        If it is for the CPU.
    """
    if cards < 1:
        raise InputError("cards", cards, "", "must be 1 or more")
    if cards > 1 and backend != "cuda":
        cure = "Set back_end to 'cuda'; the CPU's cores are all used as it is."
        raise InputError("cards", cards, "", f"the {backend} back end uses none", cure)
