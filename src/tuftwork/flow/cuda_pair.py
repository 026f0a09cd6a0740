"""CUDA C++ text of the bulk step in half precision, two cells to a thread.

The two cells of a pair stand half a row apart and lie in one 32-bit word: neighbours along x of
both are then the two cells of the neighbouring word, so that every access is one aligned word. At
the ends of the half rows the two change places.
"""

from tuftwork.flow import recipe
from tuftwork.flow.lattice import N_VELOCITY, OPPOSITE, VELOCITY
from tuftwork.flow.setup import Setup

PAIR_HEAD = """
#if PAIR
#define HALFROW (LX / 2)
#define X(i) ((i) < HALFROW ? 2 * (i) : 2 * (i) - LX + 1)
__device__ __forceinline__ int place(int n) { const int i = n % LX; return n - i + X(i); }
__device__ __forceinline__ int cell_at(int p) {
  const int x = p % LX;
  return p - x + (x % 2 ? HALFROW + x / 2 : x / 2);
}
#define PAIR_AT(q, p) f[(size_t)(q) * (NCELL / 2) + (p)]
__device__ __forceinline__ float low(unsigned w) {
  return __half2float(__ushort_as_half((unsigned short)(w & 0xffff)));
}
__device__ __forceinline__ unsigned turn(unsigned w, float x) {
  const __half2 two = __floats2half2_rn(x, x);
  return __byte_perm(w, *(const unsigned*)&two, 0x5432);
}
#else
#define X(i) (i)
#define place(n) (n)
#define cell_at(p) (p)
#endif
#define SLOT(q, p) (f + (size_t)(q) * NCELL + (p))
#define AT(q, n) SLOT(q, place(n))
"""
"""Where a cell of a row stands (``X``), where a cell stands (``place``) and which cell stands at a
place (``cell_at``); populations at a place (``SLOT``) and of a cell (``AT``)."""

_PLACE = """
  const int i = @ % HALFROW, j = (@ / HALFROW) % LY, k = @ / (HALFROW * LY);
  const int x0 = i, xp = (i + 1 == HALFROW ? 0 : i + 1), xl = (i == 0 ? HALFROW - 1 : i - 1);
  const int j0 = j, jp = (j + 1 == LY ? 0 : j + 1), jl = (j == 0 ? LY - 1 : j - 1);
  const int k0 = k, kp = (k + 1 == LZ ? 0 : k + 1), kl = (k == 0 ? LZ - 1 : k - 1);
"""
_ENDS = """
  const unsigned before = i == 0 ? 0x1032 : 0x3210, after = i + 1 == HALFROW ? 0x1032 : 0x3210;
"""


def paired(setup: Setup, *, half: bool) -> bool:
    """Return whether the populations of a setup are stored in pairs of cells."""
    return half and setup.shape[0] % 2 == 0


def bulk_pair(even: bool, setup: Setup) -> str:
    """Return the text of one bulk kernel; its window counts pairs of cells."""
    body = [f"const float f{q} = low(w{q});" for q in range(N_VELOCITY)]
    body += recipe.c_lines(recipe.collision(force=any(setup.force), unit="UNIT"))
    if setup.sponge is not None:
        body.append("const float sigma = max2(sx[i + c * HALFROW], max2(sy[j], sz[k]));")
        body += [x.replace("G[", "UNIT * G[") for x in recipe.c_lines(recipe.absorb())]
    body += [f"w{q} = turn(w{q}, g{q});" for q in range(N_VELOCITY)]
    ends = "" if even else _ENDS
    lines = [
        f'extern "C" __global__ void __launch_bounds__(BLOCK) bulk_{"even" if even else "odd"}(',
        "    unsigned* __restrict__ f, const u8* __restrict__ mark, const float* __restrict__ sx,",
        "    const float* __restrict__ sy, const float* __restrict__ sz, const int first,",
        "    const int last) {",
        "const int p = first + blockIdx.x * BLOCK + threadIdx.x;",
        "if (p >= last) return;",
        _PLACE.replace("@", "p") + ends,
        "const int n = (k * LY + j) * LX + i;",
        "const int plain = (mark[n] == 0) | (mark[n + HALFROW] == 0) << 1;",
        "if (plain == 0) return;",
        "const float Fx = UNIT * FX, Fy = UNIT * FY, Fz = UNIT * FZ, om = OMEGA;",
        *[_load(q, even) for q in range(N_VELOCITY)],
        # not unrolled: the statements of one cell already fill the cache of instructions
        "#pragma unroll 1",
        "for (int c = 0; c < 2; ++c) {",
        *body,
        "}",
        # addresses are worked out again from an opaque number, which keeps them out of registers
        "int again = p;",
        'asm volatile("" : "+r"(again));',
        "{",
        _PLACE.replace("@", "again") + ends,
        "if (plain == 3) {",
        *[_store(q, even) for q in range(N_VELOCITY)],
        "} else {",
        "const int c = plain >> 1, s = 16 * c;",
        *[_store_one(q, even) for q in range(N_VELOCITY)],
        "}}}",
    ]
    return "\n".join(lines) + "\n"


def _there(q: int, sign: int) -> tuple[str, int]:
    """Word of the neighbour along or against a velocity, and the step along x."""
    e = [int(c) * sign for c in VELOCITY[q]]
    x, y, z = ({0: "0", 1: "p", -1: "l"}[c] for c in e)
    return f"((k{z} * LY + j{y}) * HALFROW + x{x})", e[0]


def _turned(word: str, step: int) -> str:
    """Change the two cells of a word if the step along x goes over the end of a half row."""
    if step == 0:
        return word
    return f"__byte_perm({word}, 0, {'after' if step > 0 else 'before'})"


def _load(q: int, even: bool) -> str:
    if even:
        return f"unsigned w{q} = PAIR_AT({q}, p);"
    where, step = _there(q, -1)
    return f"unsigned w{q} = {_turned(f'PAIR_AT({OPPOSITE[q]}, {where})', step)};"


def _store(q: int, even: bool) -> str:
    if even:
        return f"PAIR_AT({OPPOSITE[q]}, again) = w{q};"
    where, step = _there(q, 1)
    return f"PAIR_AT({q}, {where}) = {_turned(f'w{q}', step)};"


def _store_one(q: int, even: bool) -> str:
    """Store the one plain cell of a pair."""
    if even:
        word, which = f"PAIR_AT({OPPOSITE[q]}, again)", "c"
    else:
        where, step = _there(q, 1)
        end = {0: "0", 1: "(i + 1 == HALFROW)", -1: "(i == 0)"}[step]
        word, which = f"PAIR_AT({q}, {where})", f"c ^ {end}"
    return f"((unsigned short*)&{word})[{which}] = (unsigned short)(w{q} >> s);"
