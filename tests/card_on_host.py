"""A likeness of CuPy on the host: kernels for a card compiled by the host's C++ compiler.

It holds just what the flow's engines use. A kernel's threads run one after the other. Streams are
queues, worked off in a random order that only events and messages hold together, each thread of the
host having a card of its own: what is not ordered on purpose shows.
"""

import ctypes
import random
import re
import subprocess
import tempfile
import threading
import time
from collections import defaultdict, deque
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np

_HEAD = """
#include <cmath>
#include <cstddef>
#define __global__
#define __device__
#define __constant__
#define __forceinline__ inline
#define __launch_bounds__(x)
struct Place { int x; };
struct float4 { float x, y, z, w; };
static Place blockIdx, threadIdx;
struct __half { unsigned short held; };
inline float __half2float(__half h) {
  const int e = h.held >> 10 & 31, m = h.held & 1023;
  const float x = e ? std::ldexp(1024.0f + m, e - 25) : std::ldexp((float)m, -24);
  return h.held >> 15 ? -x : x;
}
inline __half __float2half_rn(float x) {
  const unsigned short sign = std::signbit(x) ? 0x8000 : 0;
  int e;
  std::frexp(x == 0.0f ? 1e-9f : x, &e);
  e = e < -13 ? -13 : e;
  /* round half to even, the default; a mantissa rounded up carries into the exponent */
  const int m = (int)std::nearbyint(std::ldexp(std::fabs(x), 11 - e));
  return __half{(unsigned short)(sign | (m + ((e + 13) << 10)))};
}
struct __half2 { __half low, high; };
inline __half2 __floats2half2_rn(float a, float b) {
  return __half2{__float2half_rn(a), __float2half_rn(b)};
}
inline __half __ushort_as_half(unsigned short held) { return __half{held}; }
inline unsigned __byte_perm(unsigned a, unsigned b, unsigned chosen) {
  const unsigned long long both = (unsigned long long)b << 32 | a;
  unsigned out = 0;
  for (int n = 0; n < 4; ++n) out |= (unsigned)(both >> 8 * (chosen >> 4 * n & 7) & 255) << 8 * n;
  return out;
}
"""
_KERNEL = re.compile(r'extern "C" __global__ void (?:__launch_bounds__\(BLOCK\) )?(\w+)\(([^)]*)\)')


class CardArray(np.ndarray):
    """An array that answers to what is asked of one on a card."""

    def get(self) -> np.ndarray:
        _card_here().work_off()
        return np.array(self)

    def set(self, values: np.ndarray) -> None:
        self[...] = np.asarray(values).reshape(self.shape)

    @property
    def data(self) -> Any:
        return SimpleNamespace(ptr=self.ctypes.data)


def _launcher(name: str, parameters: str) -> str:
    kinds = [re.sub(r"\s*\w+$", "", p.replace("__restrict__", "")) for p in parameters.split(",")]
    call = ", ".join(f"*({kind.strip()}*)a[{n}]" for n, kind in enumerate(kinds))
    return (
        f'extern "C" void launch_{name}(int blocks, int threads, void** a) {{\n'
        "  for (int b = 0; b < blocks; ++b) for (int t = 0; t < threads; ++t) {\n"
        f"    blockIdx.x = b; threadIdx.x = t; {name}({call});\n  }}\n}}\n"
    )


class RawModule:
    """Text of kernels, compiled for the host."""

    def __init__(self, *, code: str, options: tuple[str, ...]) -> None:
        text = _HEAD + code.replace("#include <cuda_fp16.h>", "")
        text = re.sub(r'extern "C" (__constant__ [^;]*;)', r'extern "C" { \1 }', text)
        text += "".join(_launcher(*found) for found in _KERNEL.findall(code))
        command = ["g++", "-O0", "-w", "-shared", "-fPIC", "-ffp-contract=off", "-std=c++17"]
        with tempfile.TemporaryDirectory() as folder:
            source = Path(folder) / "kernels.cpp"
            source.write_text(text, encoding="utf-8")
            library = source.with_suffix(".so")
            subprocess.run([*command, str(source), "-o", str(library)], check=True)
            self._library = ctypes.CDLL(str(library))

    def get_function(self, name: str) -> Any:
        launch = self._library[f"launch_{name}"]

        def run(grid: tuple[int], block: tuple[int], arguments: tuple[Any, ...]) -> None:
            held: list[Any] = []
            for one in arguments:
                if isinstance(one, np.ndarray):
                    assert one.flags.c_contiguous
                    held.append(ctypes.c_void_p(one.ctypes.data))
                else:
                    kind = ctypes.c_float if isinstance(one, np.floating) else ctypes.c_int
                    held.append(kind(one))
            table = (ctypes.c_void_p * len(held))(*[ctypes.addressof(h) for h in held])
            kept = (arguments, held, table)
            sizes = ctypes.c_int(grid[0]), ctypes.c_int(block[0])
            _card_here().queue(lambda: launch(*sizes, kept[2]))

        return run

    def get_global(self, name: str) -> Any:
        return ctypes.addressof(ctypes.c_float.in_dll(self._library, name))


class Card:
    """What one thread of the host has queued."""

    def __init__(self) -> None:
        self.null = Stream()
        self.current: Stream = self.null
        self.entered: list[Stream] = []
        self.streams: list[Stream] = [self.null]
        self._choice = random.Random(3)

    def queue(self, work: Callable[[], object], ready: Callable[[], bool] = lambda: True) -> None:
        stream = self.current
        (stream.held if stream.captured is None else stream.captured).append((ready, work))

    def work_off(self) -> None:
        """Do all that is queued, in any order that streams, events and messages allow."""
        begun = time.monotonic()
        while any(stream.held for stream in self.streams):
            able = [s for s in self.streams if s.held and s.held[0][0]()]
            if able:
                self._choice.choice(able).held.popleft()[1]()
            elif time.monotonic() - begun > 60:
                raise TimeoutError("the queues of a card wait for each other")
            else:
                time.sleep(1e-4)


_CARDS = threading.local()


def _card_here() -> Card:
    if not hasattr(_CARDS, "card"):
        _CARDS.card = Card()
    card: Card = _CARDS.card
    return card


_Queue = deque[tuple[Callable[[], bool], Callable[[], object]]]


class Stream:
    """A queue; leaving one that was entered goes back to the default one, as CuPy does.

    A stream that blocks keeps in step with the default one: they share a queue here.
    """

    def __init__(self, *, non_blocking: bool = False, **_: Any) -> None:
        self.ptr = id(self)
        self.captured: _Queue | None = None
        self.held: _Queue = deque()
        if not non_blocking and hasattr(_CARDS, "card"):
            self.held = _card_here().null.held
        elif hasattr(_CARDS, "card"):
            _card_here().streams.append(self)

    def begin_capture(self) -> None:
        self.captured = deque()

    def end_capture(self) -> Any:
        done, self.captured = tuple(self.captured or ()), None
        return SimpleNamespace(launch=lambda stream: stream.held.extend(done))

    def use(self) -> None:
        card = _card_here()
        if all(self.held is not stream.held for stream in card.streams):
            card.streams.append(self)
        card.current = self

    def synchronize(self) -> None:
        _card_here().work_off()

    def wait_event(self, event: "Event") -> None:
        wanted = event.recorded
        self.held.append((lambda: wanted in event.reached, lambda: None))

    def __enter__(self) -> None:
        _card_here().entered.append(self)
        self.use()

    def __exit__(self, *_: object) -> None:
        card = _card_here()
        card.entered.pop()
        card.current = card.entered[-1] if card.entered else card.null


class Event:
    """A mark in a queue."""

    def __init__(self, **_: Any) -> None:
        self.recorded = 0
        self.reached = {0}

    def record(self, stream: Stream) -> None:
        self.recorded += 1
        mark = self.recorded
        stream.held.append((lambda: True, lambda: self.reached.add(mark)))


class Messages:
    """What stands for NCCL between threads: messages between two ranks keep their order."""

    available = True
    NCCL_INT8 = 0

    @staticmethod
    def get_unique_id() -> str:
        return "key"

    def __init__(self) -> None:
        self._boxes: dict[tuple[int, int], deque[bytes]] = defaultdict(deque)
        self._group = threading.local()

    def groupStart(self) -> None:  # noqa: N802 - as CuPy names it
        self._group.sent, self._group.wanted = [], []

    def groupEnd(self) -> None:  # noqa: N802 - as CuPy names it
        sent, wanted = self._group.sent, self._group.wanted
        places = [key for key, _, _ in wanted]

        def send() -> None:
            for key, place, size in sent:
                self._boxes[key].append(ctypes.string_at(place, size))

        def here() -> bool:
            return all(len(self._boxes[key]) >= places.count(key) for key in places)

        def receive() -> None:
            for key, place, size in wanted:
                ctypes.memmove(place, self._boxes[key].popleft(), size)

        _card_here().queue(send)
        _card_here().queue(receive, here)

    def NcclCommunicator(self, count: int, key: Any, rank: int) -> Any:  # noqa: N802
        def send(place: int, size: int, kind: int, peer: int, stream: int) -> None:
            self._group.sent.append(((rank, peer), place, size))

        def recv(place: int, size: int, kind: int, peer: int, stream: int) -> None:
            self._group.wanted.append(((peer, rank), place, size))

        return SimpleNamespace(send=send, recv=recv)


def _card(array: Any) -> CardArray:
    return np.ascontiguousarray(array).view(CardArray)


def _ndarray(size: int, kind: Any, place: int) -> CardArray:
    held = np.ctypeslib.as_array((ctypes.c_float * size).from_address(place))
    return held.view(CardArray)


def likeness() -> Any:
    """Return what stands for the module ``cupy``."""
    device = SimpleNamespace(
        mem_info=(1 << 40, 1 << 40), synchronize=lambda: _card_here().work_off(),
        use=lambda: None,
    )  # fmt: skip
    names = ("float16", "float32", "int64", "where", "abs", "nan_to_num", "inf", "cross",
             "bincount")  # fmt: skip
    plain = {name: getattr(np, name) for name in names}
    return SimpleNamespace(
        **plain,
        zeros=lambda *a, **k: _card(np.zeros(*a, **k)),
        ones=lambda *a, **k: _card(np.ones(*a, **k)),
        empty=lambda *a, **k: _card(np.empty(*a, **k)),
        zeros_like=lambda a: _card(np.zeros_like(a)),
        asarray=lambda a, dtype=None: _card(np.asarray(a, dtype=dtype)),
        stack=lambda rows, axis=0: _card(np.stack(rows, axis=axis)),
        ndarray=_ndarray,
        RawModule=RawModule,
        cuda=SimpleNamespace(
            Device=lambda *_: device, Stream=Stream, Event=Event,
            nccl=Messages(), runtime=SimpleNamespace(getDeviceCount=lambda: 8),
        ),
    )  # fmt: skip


def as_cupy() -> dict[str, Any]:
    """Return the entries of ``sys.modules`` that make it stand for CuPy."""
    from types import ModuleType

    found = likeness()
    cupy, cuda = ModuleType("cupy"), ModuleType("cupy.cuda")
    vars(cupy).update(vars(found))
    vars(cuda).update(vars(found.cuda))
    cupy.cuda = cuda  # type: ignore[attr-defined]
    return {"cupy": cupy, "cupy.cuda": cuda}
