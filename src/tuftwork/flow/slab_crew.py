"""Crews of several processes: one a slab on this host, or the ranks of an MPI run.

One process leads and is asked by the solver; the others wait for verbs. On cards planes travel
through NCCL; on the CPU, which is there to check all this without a card, through pipes.
"""

import atexit
import gc
import os
import signal
import sys
from collections.abc import Callable, Sequence
from functools import cache
from multiprocessing import get_context
from threading import Thread
from typing import Any, Literal

import numpy as np

from tuftwork.errors import InputError, NotConverged
from tuftwork.flow.engine import Precision
from tuftwork.flow.slab import Side, Slab
from tuftwork.flow.slab_engine import Hand
from tuftwork.flow.slab_nest import Stack
from tuftwork.flow.slab_nest_part import StackHand
from tuftwork.flow.slab_part import CpuPart, Part

Kind = Literal["cpu", "cuda"]
Ends = dict[str, Any] | None
_PATIENCE = 20.0
"""Time in which a process must have ended. [s]"""
_LAUNCHED = ("OMPI_COMM_WORLD_SIZE", "PMI_SIZE", "PMIX_RANK", "MPI_LOCALNRANKS")
"""One of these is set where an MPI launcher started the process."""


class PipeLink:
    """Planes travel through pipes: ``ends`` has the end of the pipe on each side."""

    def __init__(self, ends: dict[str, Any]) -> None:
        self._ends = ends
        self._going: list[Thread] = []

    def begin(self, part: Part, *, even: bool) -> None:
        """Send what the neighbours need after a step."""
        for side in part.sides:
            self._send(side, part.give(side, even=even))

    def finish(self, part: Part, *, even: bool) -> None:
        """Put what came in its place."""
        for side in part.sides:
            plane = np.frombuffer(self._ends[side].recv_bytes()).reshape(-1, part.slab.plane)
            part.take(side, plane, even=even)
        self._join()

    def swap(self, part: Part, other: Part, out: dict[Side, Any], into: dict[Side, Any]) -> None:
        """Send rows to the neighbours and put what they send in its place."""
        for side, rows in out.items():
            self._send(side, rows)
        for side, rows in into.items():
            rows[:] = np.frombuffer(self._ends[side].recv_bytes()).reshape(rows.shape)
        self._join()

    def _send(self, side: Side, rows: Any) -> None:
        held = np.ascontiguousarray(rows).copy()
        going = Thread(target=self._ends[side].send_bytes, args=(held,))
        going.start()
        self._going.append(going)

    def _join(self) -> None:
        while self._going:
            self._going.pop().join()


class Member:
    """One process of a crew: builds its slab when told to, then answers."""

    def __init__(self, number: int) -> None:
        self.number = number
        self._hand: Hand | StackHand | None = None
        self._overlap = True

    def do(self, verb: str, arguments: tuple[Any, ...]) -> Any:
        """Do what is asked and return the answer."""
        if verb == "host":
            return os.uname().nodename
        if verb == "key":
            return self._key(*arguments)
        if verb == "build":
            return self._build(*arguments)
        if verb == "rest":
            self._hand = None
            _free_cards()
            return None
        if verb == "overlap":
            (self._overlap,) = arguments
            return None
        assert self._hand is not None
        return self._hand.do(verb, arguments)

    def _key(self, kind: Kind, own: int) -> Any:
        """Take a card of this host; the first member also names the key of the crew."""
        if kind == "cpu":
            return None
        from tuftwork.flow.slab_cuda import NcclLink, load_cupy

        cupy = load_cupy()
        count = _cards_here(cupy)
        if own >= count:
            cure = (
                "Ask for fewer, or start it under MPI with one process a card: mpiexec -n 1 "
                "tuftwork flow run … : -n 1 python -m tuftwork.flow.slab_serve."
            )
            limit = f"this host has {count} card{'' if count == 1 else 's'}"
            raise InputError("cards", own + 1, "", limit, cure)
        cupy.cuda.Device(own).use()
        return NcclLink.new_key() if self.number == 0 else None

    def _build(
        self, share: Slab | Stack, kind: Kind, precision: Precision, key: Any, ends: Ends
    ) -> None:
        link: Any
        make: Callable[[Slab, int], Part]
        if kind == "cpu":
            link = PipeLink(ends or {})

            def make(slab: Slab, level: int) -> Part:
                return CpuPart(slab, overlap=True)
        else:
            from tuftwork.flow.slab_cuda import CudaPart, NcclLink

            link = NcclLink(key, share.number, share.count)

            def make(slab: Slab, level: int) -> Part:
                return CudaPart(slab, precision, level)

        if isinstance(share, Stack):
            boxes = zip(share.slabs, share.levels, strict=True)
            parts = [None if slab is None else make(slab, level) for slab, level in boxes]
            self._hand = StackHand(share, parts, link, lambda: self._overlap)
        else:
            part = make(share, 0)
            self._hand = Hand(part, lambda n: part.advance(n, link, overlap=self._overlap))


def _free_cards() -> None:
    """Give memory back that this process holds on a card."""
    gc.collect()
    if "cupy" in sys.modules:
        sys.modules["cupy"].get_default_memory_pool().free_all_blocks()


def _cards_here(cupy: Any) -> int:
    try:
        return int(cupy.cuda.runtime.getDeviceCount())
    except cupy.cuda.runtime.CUDARuntimeError as error:
        cure = "A graphics card and its driver are needed; the CPU back end needs none."
        raise InputError("back_end", "cuda", "", str(error), cure) from None


def _serve(pipe: Any, number: int, ends: Ends) -> None:
    """Answer verbs until told to end; what goes wrong is sent back."""
    # Ctrl-C reaches every process; only the leader decides what becomes of the run
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    member = Member(number)
    while True:
        try:
            verb, arguments = pipe.recv()
        except EOFError:
            return
        if verb == "end":
            return
        try:
            if verb == "build":
                arguments = (*arguments, ends)
            answer = (True, member.do(verb, arguments))
        except Exception as error:  # noqa: BLE001 - whatever it is, the leader must hear of it
            answer = (False, error)
        try:
            pipe.send(answer)
        except Exception as error:  # noqa: BLE001 - an error that cannot be sent is told in words
            pipe.send((False, NotConverged(f"slab {number}: {answer[1]!r} ({error})")))


class PipeCrew:
    """One process a slab on this host."""

    def __init__(self, slabs: Sequence[Slab | Stack], kind: Kind, precision: Precision) -> None:
        context = get_context("spawn")
        count = len(slabs)
        ends: list[dict[str, Any]] = [{} for _ in slabs]
        if kind == "cpu":
            for k in range(count):
                ends[k]["above"], ends[(k + 1) % count]["below"] = context.Pipe()
        self._pipes, self._processes = [], []
        for k in range(count):
            ours, theirs = context.Pipe()
            process = context.Process(target=_serve, args=(theirs, k, ends[k]), daemon=True)
            process.start()
            theirs.close()
            self._pipes.append(ours)
            self._processes.append(process)
        try:
            key = self.ask("key", [(kind, k) for k in range(count)])[0]
            self.ask("build", [(slab, kind, precision, key) for slab in slabs])
        except BaseException:
            self.close()
            raise

    def ask(self, verb: str, each: Sequence[tuple[Any, ...]]) -> list[Any]:
        """Have every slab do something; a process that fails or has gone ends the crew."""
        try:
            for pipe, own in zip(self._pipes, each, strict=True):
                pipe.send((verb, own))
            return self._answers(verb)
        except OSError as error:
            self.close()
            raise NotConverged(f"a process of the slabs has gone ({verb}: {error})") from None

    def _answers(self, verb: str) -> list[Any]:
        """Return the answers in the order of the slabs; the first that fails is raised."""
        from multiprocessing.connection import wait

        waiting: dict[Any, int] = {pipe: k for k, pipe in enumerate(self._pipes)}
        found: list[Any] = [None] * len(waiting)
        while waiting:
            for pipe in wait(list(waiting)):
                number = waiting.pop(pipe)
                try:
                    good, found[number] = self._pipes[number].recv()
                except EOFError:
                    self.close()
                    raise NotConverged(f"the process of slab {number} has gone ({verb})") from None
                if not good:
                    self.close()
                    raise found[number]
        return found

    def close(self) -> None:
        """End the processes."""
        for pipe in self._pipes:
            try:
                pipe.send(("end", ()))
            except OSError:
                continue
            finally:
                pipe.close()
        for process in self._processes:
            process.join(0.2 if process.exitcode is None else 0.0)
            if process.is_alive():
                process.terminate()
                process.join(_PATIENCE)
        self._pipes, self._processes = [], []


class MpiCrew:
    """The ranks of an MPI run: this one leads and does the first slab itself.

    Parameters
    ----------
    slabs
        One a rank.
    comm
        A communicator of mpi4py that moves objects of any size.
    """

    def __init__(
        self, slabs: Sequence[Slab | Stack], kind: Kind, precision: Precision, comm: Any
    ) -> None:
        if comm.Get_size() != len(slabs):
            limit = f"MPI was started with {comm.Get_size()} processes"
            raise InputError("cards", len(slabs), "", limit, "Start one process a card.")
        self._comm = comm
        self._own = Member(0)
        hosts = self.ask("host", [()] * len(slabs))
        key = self.ask("key", [(kind, hosts[:k].count(h)) for k, h in enumerate(hosts)])[0]
        self.ask("build", [(slab, kind, precision, key, None) for slab in slabs])

    def ask(self, verb: str, each: Sequence[tuple[Any, ...]]) -> list[Any]:
        """Have every slab do something."""
        own = self._comm.scatter([(verb, arguments) for arguments in each], root=0)
        found = self._comm.gather(_attempt(self._own, *own), root=0)
        for good, answer in found:
            if not good:
                raise answer
        return [answer for _, answer in found]

    def close(self) -> None:
        """Let go of the slabs; the ranks wait for the next ones."""
        self.ask("rest", [()] * self._comm.Get_size())


def serve_rank(comm: Any) -> None:
    """Answer the leader of an MPI run until it ends."""
    member = Member(comm.Get_rank())
    while True:
        verb, arguments = comm.scatter(None, root=0)
        if verb == "end":
            return
        comm.gather(_attempt(member, verb, arguments), root=0)


def _attempt(member: Member, verb: str, arguments: tuple[Any, ...]) -> tuple[bool, Any]:
    try:
        return True, member.do(verb, arguments)
    except Exception as error:  # noqa: BLE001 - whatever it is, the leader must hear of it
        return False, error


def end_ranks(comm: Any) -> None:
    """Send the waiting ranks of an MPI run home."""
    comm.scatter([("end", ())] * comm.Get_size(), root=0)


@cache
def mpi_world() -> Any:
    """Return the communicator of an MPI run, or None where this process is on its own.

    The first rank leads; when it ends it sends the others home.

    Raises
    ------
    InputError
        If an MPI launcher started it and mpi4py is missing.
    """
    if not any(name in os.environ for name in _LAUNCHED):
        return None
    try:
        from mpi4py import MPI
        from mpi4py.util import pkl5
    except ImportError:
        cure = "Install it with: pip install 'tuftwork[mpi]', or start without mpiexec."
        raise InputError("cards", "under MPI", "", "need mpi4py", cure) from None
    if MPI.COMM_WORLD.Get_size() == 1:
        return None
    comm = pkl5.Intracomm(MPI.COMM_WORLD)
    if comm.Get_rank() == 0:
        atexit.register(end_ranks, comm)
    return comm
