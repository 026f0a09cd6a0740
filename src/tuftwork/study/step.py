"""A study is a list of steps; a step is computed again only when what it depends on changed."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from time import perf_counter

from tuftwork.errors import Cancelled, InputError, UnknownName
from tuftwork.study.ledger import Ledger, StepEntry
from tuftwork.study.store import Store, Tree, digest_of

Work = Callable[[Mapping[str, Tree], "Pulse"], Tree]
"""Computes a step from the results of the steps it needs."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step of a study.

    Attributes
    ----------
    name, title
        Short key, and what a person reads.
    inputs
        Plain tree of everything the step reads besides earlier results; part of its digest.
    needs
        Names of the steps whose results it takes.
    work
        Computes the result, a plain tree.
    version
        Raised whenever the same inputs must give another answer.
    weight
        Its usual share of the time, for the progress bar. [-]
    """

    name: str
    title: str
    inputs: Tree
    needs: tuple[str, ...]
    work: Work
    version: int = 1
    weight: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """How far a run is.

    Attributes
    ----------
    done
        Share of the work done, 0 to 1. [-]
    left_s
        Estimate of the time left; None until there is one. [s]
    title
        What is being done.
    """

    done: float
    left_s: float | None
    title: str


class Pulse:
    """Tells the watcher how far a step is, and the step whether it was told to stop."""

    def __init__(self, tell: Callable[[float], None], is_cancelled: Callable[[], bool]) -> None:
        self._tell, self._is_cancelled = tell, is_cancelled

    def beat(self, done: float) -> None:
        """Report the share of this step that is done; raises ``Cancelled`` when told to stop."""
        if self._is_cancelled():
            raise Cancelled("The run was stopped. What was finished is kept.")
        self._tell(min(1.0, max(0.0, done)))


def run_steps(
    steps: Sequence[Step],
    store: Store,
    ledger: Ledger,
    *,
    what: str,
    version: str,
    watch: Callable[[Progress], None] = lambda _: None,
    is_cancelled: Callable[[], bool] = lambda: False,
) -> dict[str, Tree]:
    """Run the steps in order and return every result by name.

    Results lie in the store under a digest of the step's inputs and of the results it needs, so a
    second run with nothing changed only reads. A cancelled or failed run leaves every finished
    step in the store and says so in the ledger.
    """
    digests = digests_of(steps)
    clock = _Clock(steps, {s.name for s in steps if digests[s.name] in store}, watch)
    begun = perf_counter()
    run = ledger.begin(what=what, digest=digests[steps[-1].name], version=version)
    results: dict[str, Tree] = {}
    try:
        for place, step in enumerate(steps):
            entry, results[step.name] = _run_one(
                step, digests[step.name], results, store, clock.pulse(step, is_cancelled)
            )
            ledger.add_step(run, place, entry)
            clock.finish(step, entry)
    except BaseException as error:
        stopped = isinstance(error, Cancelled | KeyboardInterrupt)
        ledger.end(
            run,
            state="cancelled" if stopped else "failed",
            took_s=perf_counter() - begun,
            message=str(error)[:500],
        )
        raise
    ledger.end(run, state="done", took_s=perf_counter() - begun)
    return results


def digests_of(steps: Sequence[Step]) -> dict[str, str]:
    """Return the digest under which each step's result lies, without running anything."""
    digests: dict[str, str] = {}
    for step in steps:
        for need in step.needs:
            if need not in digests:
                raise UnknownName(f"step '{step.name}' needs", need, digests)
        if step.name in digests:
            raise InputError("step", f"'{step.name}'", "", "is listed twice")
        digests[step.name] = digest_of(
            [step.name, step.version, step.inputs, [digests[n] for n in step.needs]]
        )
    return digests


def _run_one(
    step: Step, digest: str, results: Mapping[str, Tree], store: Store, pulse: Pulse
) -> tuple[StepEntry, Tree]:
    """Return a step's entry and result, from the store where it is there."""
    begun = perf_counter()
    pulse.beat(0.0)
    tree = store.load(digest)
    cached = tree is not None
    if tree is None:
        tree = step.work({need: results[need] for need in step.needs}, pulse)
        store.save(digest, tree)
    took = perf_counter() - begun
    entry = StepEntry(name=step.name, title=step.title, digest=digest, cached=cached, took_s=took)
    return entry, tree


class _Clock:
    """Turns steps done into a share of the run and a time left."""

    def __init__(
        self, steps: Sequence[Step], cached: set[str], watch: Callable[[Progress], None]
    ) -> None:
        # a step read from the store costs next to nothing
        self._weights = {s.name: s.weight * (0.02 if s.name in cached else 1.0) for s in steps}
        self._total = sum(self._weights.values())
        self._behind = 0.0
        self._begun = perf_counter()
        self._watch = watch

    def pulse(self, step: Step, is_cancelled: Callable[[], bool]) -> Pulse:
        def tell(done: float) -> None:
            self._report((self._behind + done * self._weights[step.name]), step.title)

        return Pulse(tell, is_cancelled)

    def finish(self, step: Step, entry: StepEntry) -> None:
        self._behind += self._weights[step.name]
        self._report(self._behind, entry.title)

    def _report(self, behind: float, title: str) -> None:
        share = behind / self._total
        spent = perf_counter() - self._begun
        left = spent * (1 - share) / share if share > 0.03 else None
        self._watch(Progress(done=min(1.0, share), left_s=left, title=title))
