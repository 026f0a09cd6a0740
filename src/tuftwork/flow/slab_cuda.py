"""A slab on a graphics card, and planes that travel between cards through NCCL.

Two streams: on one the cells step, edge layers first; on the other planes are gathered, sent,
received and put in place while the inner layers step.
"""

import os
from typing import Any

import numpy as np

from tuftwork.errors import InputError
from tuftwork.flow.cuda import CudaEngine
from tuftwork.flow.engine import Precision
from tuftwork.flow.slab import DOWN, N_CROSSING, OTHER, SIDES, UP, Side, Slab, edge_walls
from tuftwork.flow.slab_part import Part

_THREADS = 256
_FIRST = 5
"""How far a stream can go before others."""
_TEXT = """
#define PLANE (LX * LY)
__device__ const int CROSSING[2][9] = {{%s}, {%s}};
extern "C" __global__ void give(const S* __restrict__ f, S* __restrict__ out, const int layer,
                                const int up) {
  const int c = blockIdx.x * 256 + threadIdx.x;
  if (c >= PLANE) return;
  #pragma unroll
  for (int p = 0; p < 9; ++p)
    out[(size_t)p * PLANE + c] = *AT(CROSSING[up][p], layer * PLANE + c);
}
extern "C" __global__ void take(S* __restrict__ f, const S* __restrict__ in,
                                const u8* __restrict__ kept, const int layer, const int up) {
  const int c = blockIdx.x * 256 + threadIdx.x;
  if (c >= PLANE) return;
  #pragma unroll
  for (int p = 0; p < 9; ++p)
    if (!kept[(size_t)p * PLANE + c])
      *AT(CROSSING[up][p], layer * PLANE + c) = in[(size_t)p * PLANE + c];
}
"""


def load_cupy() -> Any:
    """Return CuPy with NCCL.

    Raises
    ------
    InputError
        If one of them is missing; says what to install.
    """
    # point-to-point messages have no use for multicast over the links, which can outlive a fault
    os.environ.setdefault("NCCL_NVLS_ENABLE", "0")
    try:
        import cupy
    except ImportError:
        cure = "Install them with: pip install 'tuftwork[cards]'."
        raise InputError("cards", "several", "", "need CuPy and NCCL", cure) from None
    from cupy.cuda import nccl

    if not nccl.available:
        cure = "Install it with: pip install nvidia-nccl-cu13, of CUDA's version that CuPy is for."
        raise InputError("cards", "several", "", "need NCCL, which CuPy does not find", cure)
    return cupy


def slab_text() -> str:
    """Return the CUDA C++ text of the two kernels that gather planes and put them in place."""
    return _TEXT % tuple(", ".join(str(int(q)) for q in row) for row in (DOWN, UP))


class SlabCudaEngine(CudaEngine):
    """The engine of a card with two more kernels, which gather planes and put them in place."""

    def text(self, *, half: bool) -> str:
        """Return the CUDA C++ text of all kernels."""
        return super().text(half=half) + slab_text()

    def densities_of(self, layers: slice) -> Any:
        """Return the density in some layers now. Shape (n, ly, lx)."""
        lx, ly, lz = self.setup.shape
        first, end, _ = layers.indices(lz)
        return self._in(((0, 0, first), (lx, ly, end - first)))[0].get()


class CudaPart(Part):
    """A slab on the current card.

    Parameters
    ----------
    slab
        Which.
    precision
        Storage of the populations.
    level
        Of its box: finer ones go first where several could step.
    """

    engine: SlabCudaEngine

    def __init__(self, slab: Slab, precision: Precision, level: int = 0) -> None:
        super().__init__(slab)
        cupy = load_cupy()
        self.main = cupy.cuda.Stream(non_blocking=True, priority=-min(level, _FIRST - 1))
        self.main.use()
        self.engine = SlabCudaEngine(slab.setup, precision)
        self._top = slab.setup.shape[2] - 2
        setup = slab.setup
        self._walls = (*edge_walls(setup, 1), *edge_walls(setup, self._top))
        size = N_CROSSING * slab.plane
        kind = cupy.float16 if precision == "float16" else cupy.float32
        self.out = {side: cupy.empty(size, kind) for side in self.sides}
        self.into = {side: cupy.empty(size, kind) for side in self.sides}
        self._keeps = {
            (side, even): cupy.asarray(slab.keeps(side, even=even).reshape(-1))
            for side in self.sides
            for even in (True, False)
        }
        self.main.synchronize()

    def use(self) -> None:
        """Put what is asked for next behind what this slab of a box was asked for."""
        self.main.use()

    def densities_of(self, layers: slice) -> Any:
        """Return the density in some layers now. Shape (n, ly, lx)."""
        return self.engine.densities_of(layers)

    def whole(self, *, even: bool) -> None:
        """Advance all layers by one step."""
        plane = self.slab.plane
        self.engine.step_bulk(even, plane, (self._top + 1) * plane)
        self.engine.step_walls(even, 0, self.slab.wall.size)

    def edge(self, *, even: bool) -> None:
        """Advance the lowest and the highest layer by one step."""
        plane, (a, b, c, d) = self.slab.plane, self._walls
        self.engine.step_bulk(even, plane, 2 * plane)
        self.engine.step_bulk(even, self._top * plane, (self._top + 1) * plane)
        self.engine.step_walls(even, a, b)
        self.engine.step_walls(even, c, d)

    def inner(self, *, even: bool) -> None:
        """Advance the layers between by one step, after ``edge``."""
        plane, (_, b, c, _) = self.slab.plane, self._walls
        self.engine.step_bulk(even, 2 * plane, self._top * plane)
        self.engine.step_walls(even, b, c)

    def give(self, side: Side, *, even: bool) -> Any:
        """Return the plane to send to one side after a step."""
        layer, rows = self.slab.sends(side, even=even)
        out = self.out[side]
        self.engine.kernel["give"](*self._grid, (self.engine._f, out, *_place(layer, rows)))
        return out

    def take(self, side: Side, plane: Any, *, even: bool) -> None:
        """Put a plane that came from one side in its place, but for what is a wall's own."""
        layer, rows = self.slab.receives(side, even=even)
        arguments = (self.engine._f, plane, self._keeps[side, even], *_place(layer, rows))
        self.engine.kernel["take"](*self._grid, arguments)

    @property
    def _grid(self) -> tuple[tuple[int], tuple[int]]:
        return ((self.slab.plane + _THREADS - 1) // _THREADS,), (_THREADS,)


def _place(layer: int, rows: Any) -> tuple[np.int32, np.int32]:
    return np.int32(layer), np.int32(rows[0] == UP[0])


class NcclLink:
    """Planes travel between cards through NCCL.

    Parameters
    ----------
    key
        The number that all members of the crew share, from ``new_key``.
    number, count
        Place of this slab, and how many there are.
    """

    def __init__(self, key: Any, number: int, count: int) -> None:
        self._cupy = load_cupy()
        from cupy.cuda import nccl

        self._nccl = nccl
        self._comm = nccl.NcclCommunicator(count, key, number)
        # planes are few and everybody waits for them: they go first where a card can choose
        self._stream = self._cupy.cuda.Stream(non_blocking=True, priority=-_FIRST)
        self._ready = self._cupy.cuda.Event(disable_timing=True)
        self._here = self._cupy.cuda.Event(disable_timing=True)

    @staticmethod
    def new_key() -> Any:
        """Return a new key for a crew."""
        load_cupy()
        from cupy.cuda import nccl

        return nccl.get_unique_id()

    def begin(self, part: Part, *, even: bool) -> None:
        """Send what the neighbours need after a step, and ask for what they send."""
        assert isinstance(part, CudaPart)
        self._ready.record(part.main)
        self._stream.wait_event(self._ready)
        # not "with": leaving it would go back to the default stream, which waits for nobody
        self._stream.use()
        for side in part.sides:
            part.give(side, even=even)
        self._exchange(part.slab, part.out, part.into)
        for side in part.sides:
            part.take(side, part.into[side], even=even)
        self._here.record(self._stream)
        part.main.use()

    def finish(self, part: Part, *, even: bool) -> None:
        """Let the cells wait for the planes."""
        assert isinstance(part, CudaPart)
        part.main.wait_event(self._here)

    def swap(self, part: Part, other: Part, out: dict[Side, Any], into: dict[Side, Any]) -> None:
        """Send rows that ``part`` has read to the neighbours; ``other`` waits for them and it."""
        assert isinstance(part, CudaPart)
        assert isinstance(other, CudaPart)
        self._ready.record(part.main)
        other.main.wait_event(self._ready)
        if out or into:
            self._stream.wait_event(self._ready)
            self._stream.use()
            self._exchange(other.slab, out, into)
            self._here.record(self._stream)
            other.main.wait_event(self._here)

    def _exchange(self, slab: Slab, out: dict[Side, Any], into: dict[Side, Any]) -> None:
        """Send up, take from below, send down, take from above: two slabs may meet twice."""
        nccl, stream, byte = self._nccl, self._stream.ptr, self._nccl.NCCL_INT8
        nccl.groupStart()
        for side in SIDES[::-1]:
            if side in out:
                rows = out[side]
                self._comm.send(rows.data.ptr, rows.nbytes, byte, slab.next_to(side), stream)
            other = OTHER[side]
            if other in into:
                rows = into[other]
                self._comm.recv(rows.data.ptr, rows.nbytes, byte, slab.next_to(other), stream)
        nccl.groupEnd()
