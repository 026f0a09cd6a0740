"""Coupling of two levels of cells, written from the recipe for both back ends.

``python -m tuftwork.flow.nest_text`` renews the CPU file; a test checks that it says the same.
Three loops over lists of cells, all by the ten moments that collision keeps: density, velocity and
the departure of the second moments from equilibrium, before collision.

* ``read_shell``: moments of the coarse cells round an interface;
* ``fill_ghosts``: fine cells outside the interface from 27 coarse cells each;
* ``restrict_cells``: coarse cells under the fine box from their eight children.

The populations of a cell stand in its own slots before the first step of a pair and in those of its
neighbours before the second (``lattice``): one function gives the place for both.
What a part thinner than a cell sends back stays in the cell's own slots (``thin``): bit q of
``thin`` says so of population q.
"""

from pathlib import Path

from tuftwork.flow import recipe
from tuftwork.flow.lattice import N_VELOCITY, OPPOSITE, VELOCITY
from tuftwork.flow.recipe import Line

TARGET = Path(__file__).with_name("_nest_kernel.py")
TEN = ("d", "u", "v", "w", "pxx", "pyy", "pzz", "pxy", "pxz", "pyz")
"""Moments that two levels exchange."""
BLOCK = 64
"""Cells of a list that the CPU works on together, so that they stay near and go side by side."""


def _write_back() -> list[Line]:
    """From the ten moments ``m0`` … ``m9`` to populations before collision ``g0`` … ``g26``.

    The departure of the stress is scaled: deviator and trace relax at different rates.
    """
    out = [
        Line("let", "mean", "(m4 + m5 + m6) * THIRD"),
        Line("let", "d", "m0"),
        Line("let", "rho", "1.0 + d"),
        Line("let", "ir", "1.0 / rho"),
    ]
    out += [Line("let", c, f"m{n}") for n, c in enumerate("uvw", start=1)]
    out += [
        Line("let", f"q{c}{c}", f"by_dev * (m{n} - mean) + by_trace * mean")
        for n, c in enumerate("xyz", start=4)
    ]
    out += [Line("let", f"q{ab}", f"by_dev * m{n}") for n, ab in enumerate(("xy", "xz", "yz"), 7)]
    # before collision half the force is still to come: its sign is turned against ``closure``
    return [*out, *recipe.closure(), *recipe.transform_back()]


_PY_HEAD = '''"""Coupling of two levels, generated from recipe.py by nest_text.py. Do not edit."""

# ruff: noqa
# fmt: off
# mypy: ignore-errors
from typing import no_type_check

import numpy as np
from numba import njit, prange

THIRD, NINTH, SIXTH, TWOTHIRD = 1.0 / 3.0, 1.0 / 9.0, 1.0 / 6.0, 2.0 / 3.0
'''

_PY_CELLS = '''@njit(cache=True, error_model="numpy")
@no_type_check
def neighbours(shape, cell, first, count, line):
    """Per axis the places of the cells before, at and after some listed cells, wrapped round."""
    lx, ly, lz = shape[0], shape[1], shape[2]
    for c in range(count):
        n = cell[first + c]
        i, j, k = n % lx, (n // lx) % ly, n // (lx * ly)
        line[0, c] = i - 1 if i > 0 else lx - 1
        line[1, c] = i
        line[2, c] = i + 1 if i + 1 < lx else 0
        line[3, c] = (j - 1 if j > 0 else ly - 1) * lx
        line[4, c] = j * lx
        line[5, c] = (j + 1 if j + 1 < ly else 0) * lx
        line[6, c] = (k - 1 if k > 0 else lz - 1) * lx * ly
        line[7, c] = k * lx * ly
        line[8, c] = (k + 1 if k + 1 < lz else 0) * lx * ly


@njit(cache=True, error_model="numpy")
@no_type_check
def read_cells(f, shape, cell, thin, first, count, even, force, line, a, ten):
    """Ten moments of some listed cells before collision; ``line``, ``a`` are room to work in."""
    if not even:
        neighbours(shape, cell, first, count, line)
    for q in range(27):
        if even:
            for c in range(count):
                a[q * BLOCK + c] = f[q, cell[first + c]]
        else:
            x, y, z, o = 1 - VEL[q, 0], 4 - VEL[q, 1], 7 - VEL[q, 2], OPP[q]
            for c in range(count):
                a[q * BLOCK + c] = f[o, line[x, c] + line[y, c] + line[z, c]]
    if not even:
        for c in range(count):
            if thin[first + c] != 0:
                for q in range(1, 27):
                    if (thin[first + c] >> q) & 1:
                        a[q * BLOCK + c] = f[q, cell[first + c]]
    Fx, Fy, Fz = force[0], force[1], force[2]
    for c in range(count):
{load}
{body}
{store}


@njit(cache=True, error_model="numpy")
@no_type_check
def write_cells(f, shape, cell, thin, first, count, even, force, by_dev, by_trace, line, a, ten):
    """Populations of some listed cells before collision from their ten moments."""
    Fx, Fy, Fz = -force[0], -force[1], -force[2]
    for c in range(count):
{ten}
{back}
{held}
    if not even:
        neighbours(shape, cell, first, count, line)
    for q in range(27):
        if even:
            for c in range(count):
                f[q, cell[first + c]] = a[q * BLOCK + c]
        else:
            x, y, z, o = 1 - VEL[q, 0], 4 - VEL[q, 1], 7 - VEL[q, 2], OPP[q]
            for c in range(count):
                if (thin[first + c] >> q) & 1:
                    f[q, cell[first + c]] = a[q * BLOCK + c]
                else:
                    f[o, line[x, c] + line[y, c] + line[z, c]] = a[q * BLOCK + c]


'''

_PY_LOOPS = '''@njit(cache=True, error_model="numpy")
@no_type_check
def read_block(block, f, shape, cell, thin, even, force, ten):
    """Ten moments of one block of listed cells."""
    first = block * BLOCK
    count = min(BLOCK, cell.size - first)
    line, a, held = np.empty((9, BLOCK), np.int64), np.empty(27 * BLOCK), np.empty(10 * BLOCK)
    read_cells(f, shape, cell, thin, first, count, even, force, line, a, held)
    for c in range(count):
        for n in range(10):
            ten[first + c, n] = held[n * BLOCK + c]


@njit(cache=True, error_model="numpy")
@no_type_check
def fill_block(block, f, shape, cell, near, row, kind, weight, ten, force, by_dev, by_trace):
    """One block of fine cells outside the interface from the coarse moments round them."""
    first = block * BLOCK
    count = min(BLOCK, cell.size - first)
    line, a, held = np.empty((9, BLOCK), np.int64), np.empty(27 * BLOCK), np.empty(10 * BLOCK)
    for c in range(count):
        own, home = kind[first + c], row[first + c]
{zero}
        for s in range(27):
            w, n = weight[own, s], near[home, s]
{add}
{keep}
    # before the first step every population stands in its own cell
    write_cells(f, shape, cell, cell, first, count, True, force, by_dev, by_trace, line, a, held)


@njit(cache=True, error_model="numpy")
@no_type_check
def restrict_block(
    block, fine, fine_shape, child, f, shape, cell, thin, even, fine_force, force, by_dev, by_trace
):
    """One block of coarse cells from the mean of their open children."""
    first = block * BLOCK
    count = min(BLOCK, cell.size - first)
    line, a, held = np.empty((9, BLOCK), np.int64), np.empty(27 * BLOCK), np.empty(10 * BLOCK)
    got, many, one = np.zeros(10 * BLOCK), np.zeros(BLOCK), np.empty(BLOCK, np.int64)
    for s in range(8):
        for c in range(count):
            one[c] = max(child[s, first + c], 0)
        read_cells(fine, fine_shape, one, one, 0, count, True, fine_force, line, a, held)
        for c in range(count):
            if child[s, first + c] >= 0:
                many[c] += 1.0
                for n in range(10):
                    got[n * BLOCK + c] += held[n * BLOCK + c]
    for n in range(10):
        for c in range(count):
            got[n * BLOCK + c] /= many[c]
    write_cells(f, shape, cell, thin, first, count, even, force, by_dev, by_trace, line, a, got)


'''

_LOOPS = {
    "read_shell": ("read_block", "f, shape, cell, thin, even, force, ten"),
    "fill_ghosts": (
        "fill_block",
        "f, shape, cell, near, row, kind, weight, ten, force, by_dev, by_trace",
    ),
    "restrict_cells": (
        "restrict_block",
        "fine, fine_shape, child, f, shape, cell, thin, even, fine_force, force, by_dev, by_trace",
    ),
}
"""Loops over the blocks of a list, each on all cores and on one."""


def _loop(name: str, alone: bool) -> str:
    block, names = _LOOPS[name]
    parallel, over, tail = ("", "range", "_alone") if alone else ("parallel=True, ", "prange", "")
    return f"""@njit(cache=True, {parallel}error_model="numpy")
@no_type_check
def {name}{tail}({names}):
    for block in {over}((cell.size + BLOCK - 1) // BLOCK):
        {block}(block, {names})
"""


def _velocity(q: int) -> tuple[int, ...]:
    return tuple(int(c) for c in VELOCITY[q])


def cpu_source() -> str:
    """Return the text of the CPU loops."""
    q, ten, pad = range(N_VELOCITY), range(10), " " * 8
    rows = {
        "load": [f"{pad}f{i} = a[{i} * BLOCK + c]" for i in q],
        "body": recipe.python_lines(recipe.moments(), 2),
        "store": [f"{pad}ten[{n} * BLOCK + c] = {name}" for n, name in enumerate(TEN)],
        "ten": [f"{pad}m{n} = ten[{n} * BLOCK + c]" for n in ten],
        "back": recipe.python_lines(_write_back(), 2),
        "held": [f"{pad}a[{i} * BLOCK + c] = g{i}" for i in q],
        "zero": [f"{pad}m{n} = 0.0" for n in ten],
        "add": [f"{pad}    m{n} += w * ten[n, {n}]" for n in ten],
        "keep": [f"{pad}held[{n} * BLOCK + c] = m{n}" for n in ten],
    }
    text = {name: "\n".join(lines) for name, lines in rows.items()}
    table = f"VEL = np.array({VELOCITY.tolist()})\nOPP = np.array({OPPOSITE.tolist()})\n"
    table += f"BLOCK = {BLOCK}\n\n\n"
    loops = "\n\n".join(_loop(name, alone) for alone in (False, True) for name in _LOOPS)
    return _PY_HEAD + table + (_PY_CELLS + _PY_LOOPS).format(**text) + loops


_C_HEAD = """
#define THIRD 0.3333333333333333f
#define NINTH 0.1111111111111111f
#define SIXTH 0.1666666666666667f
#define TWOTHIRD 0.6666666666666667f
#include <cuda_fp16.h>
#if HALF
typedef __half S;
__device__ __forceinline__ float ld(const S* p) { return __half2float(*p) * (1.0f / SCALE); }
__device__ __forceinline__ void st(S* p, float x) { *p = __float2half_rn(x * SCALE); }
#else
typedef float S;
__device__ __forceinline__ float ld(const S* p) { return *p; }
__device__ __forceinline__ void st(S* p, float x) { *p = x; }
#endif
struct Box { int lx, ly, lz, even; float fx, fy, fz; };
// where a cell of a row stands: see PAIR_HEAD
__device__ __forceinline__ int across(int i, int lx) {
  return !HALF || lx % 2 ? i : (i < lx / 2 ? 2 * i : 2 * i - lx + 1);
}
#define WRAP(i, c, l) ((i) + (c) < 0 ? (l) - 1 : ((i) + (c) >= (l) ? 0 : (i) + (c)))
__device__ __forceinline__ size_t slot(const Box b, int thin, int n, int i, int j, int k,
                                       int q, int o, int ex, int ey, int ez) {
  const size_t all = (size_t)b.lx * b.ly * b.lz;
  if (b.even || (thin >> q & 1)) return q * all + n - i + across(i, b.lx);
  return o * all + ((size_t)WRAP(k, -ez, b.lz) * b.ly + WRAP(j, -ey, b.ly)) * b.lx
       + across(WRAP(i, -ex, b.lx), b.lx);
}
"""

_C_LOOPS = """
extern "C" __global__ void read_shell(const S* __restrict__ f, const int lx, const int ly,
    const int lz, const int even, const float fx, const float fy, const float fz,
    const int* __restrict__ cell, const int* __restrict__ thin, const int count,
    float* __restrict__ ten) {
  const int m = blockIdx.x * 128 + threadIdx.x;
  if (m >= count) return;
  Box b = {lx, ly, lz, even, fx, fy, fz};
  float r[10];
  read_cell(f, b, cell[m], thin[m], r);
  for (int a = 0; a < 10; ++a) ten[(size_t)m * 12 + a] = r[a];
}
extern "C" __global__ void fill_ghosts(S* __restrict__ f, const int lx, const int ly,
    const int lz, const float fx, const float fy, const float fz, const float by_dev,
    const float by_trace, const int* __restrict__ cell, const int count,
    const int* __restrict__ near, const int* __restrict__ row, const int* __restrict__ kind,
    const float* __restrict__ weight, const float* __restrict__ ten) {
  const int m = blockIdx.x * 128 + threadIdx.x;
  if (m >= count) return;
  Box b = {lx, ly, lz, 1, fx, fy, fz};
  float r[10] = {0.0f};
  const int p = row[m], w0 = 27 * kind[m];
  for (int s = 0; s < 27; ++s) {
    const float w = weight[w0 + s];
    const float4* t = (const float4*)(ten + (size_t)near[27 * p + s] * 12);
    const float4 x = t[0], y = t[1], z = t[2];
    r[0] += w * x.x; r[1] += w * x.y; r[2] += w * x.z; r[3] += w * x.w;
    r[4] += w * y.x; r[5] += w * y.y; r[6] += w * y.z; r[7] += w * y.w;
    r[8] += w * z.x; r[9] += w * z.y;
  }
  write_cell(f, b, cell[m], 0, by_dev, by_trace, r);
}
extern "C" __global__ void restrict_cells(const S* __restrict__ fine, const int flx,
    const int fly, const int flz, const float gx, const float gy, const float gz,
    S* __restrict__ f, const int lx, const int ly, const int lz, const int even, const float fx,
    const float fy, const float fz, const float by_dev, const float by_trace,
    const int* __restrict__ cell, const int* __restrict__ thin, const int count,
    const int* __restrict__ child) {
  const int m = blockIdx.x * 128 + threadIdx.x;
  if (m >= count) return;
  Box a = {flx, fly, flz, 1, gx, gy, gz}, b = {lx, ly, lz, even, fx, fy, fz};
  float r[10] = {0.0f}, one[10], open = 0.0f;
  for (int s = 0; s < 8; ++s) {
    const int n = child[(size_t)s * count + m];
    if (n < 0) continue;
    read_cell(fine, a, n, 0, one);
    open += 1.0f;
    for (int c = 0; c < 10; ++c) r[c] += one[c];
  }
  for (int c = 0; c < 10; ++c) r[c] /= open;
  write_cell(f, b, cell[m], thin[m], by_dev, by_trace, r);
}
"""


def cuda_source(*, half: bool) -> str:
    """Return the CUDA C++ text of the same loops.

    Parameters
    ----------
    half
        Populations are stored in half precision.
    """
    from tuftwork.flow.cuda_text import SCALE

    def slot(q: int) -> str:
        x, y, z = _velocity(q)
        return f"slot(b, thin, n, i, j, k, {q}, {OPPOSITE[q]}, {x}, {y}, {z})"

    place = "  const int i = n % b.lx, j = (n / b.lx) % b.ly, k = n / (b.lx * b.ly);\n"
    read = [
        "__device__ void read_cell(const S* __restrict__ f, const Box b, int n, int thin,",
        "                          float* r) {",
        place + "  const float Fx = b.fx, Fy = b.fy, Fz = b.fz;",
        *[f"const float f{q} = ld(f + {slot(q)});" for q in range(N_VELOCITY)],
        *recipe.c_lines(recipe.moments()),
        *[f"r[{n}] = {name};" for n, name in enumerate(TEN)],
        "}",
    ]
    write = [
        "__device__ void write_cell(S* __restrict__ f, const Box b, int n, int thin, float by_dev,",
        "                           float by_trace, const float* r) {",
        place + "  const float Fx = -b.fx, Fy = -b.fy, Fz = -b.fz;",
        *[f"const float m{n} = r[{n}];" for n in range(10)],
        *recipe.c_lines(_write_back()),
        *[f"st(f + {slot(q)}, g{q});" for q in range(N_VELOCITY)],
        "}",
    ]
    head = f"#define HALF {int(half)}\n#define SCALE {SCALE:.1f}f\n" + _C_HEAD
    return head + "\n".join([*read, *write]) + _C_LOOPS


def main() -> None:
    """Renew the generated file."""
    TARGET.write_text(cpu_source(), encoding="utf-8")


if __name__ == "__main__":
    main()
