"""CUDA C++ text of the same recipe, for CuPy's run-time compiler."""

from tuftwork.flow import porous_recipe, recipe, wall_recipe
from tuftwork.flow.cuda_pair import PAIR_HEAD, bulk_pair, paired
from tuftwork.flow.lattice import N_VELOCITY, OPPOSITE, VELOCITY, WEIGHT, relaxation_rate
from tuftwork.flow.setup import THIN, Setup

SCALE = 32768.0
"""Stored half-precision numbers are this many times the departures, clear of subnormal numbers."""

_HEAD = """
#include <cuda_fp16.h>
typedef unsigned char u8;
#define THIRD 0.3333333333333333f
#define NINTH 0.1111111111111111f
#define SIXTH 0.1666666666666667f
#define TWOTHIRD 0.6666666666666667f
#define max2 fmaxf
#define min2 fminf
#define sqrt sqrtf
#define exp expf
#define log logf
#if HALF
typedef __half S;
__device__ __forceinline__ float ld(const S* p) { return __half2float(*p) * (1.0f / SCALE); }
__device__ __forceinline__ void st(S* p, float x) { *p = __float2half_rn(x * SCALE); }
__device__ __forceinline__ float get(const S* p) { return __half2float(*p); }
__device__ __forceinline__ void put(S* p, float x) { *p = __float2half_rn(x); }
#define UNIT SCALE
#else
typedef float S;
__device__ __forceinline__ float ld(const S* p) { return *p; }
__device__ __forceinline__ void st(S* p, float x) { *p = x; }
#define get ld
#define put st
#define UNIT 1.0f
#endif
@PAIR
__device__ __forceinline__ float other_surface(const float* surface, int m, float ex, float ey,
                                               float ez, float i, float j, float k, float dx,
                                               float dy, float dz) {
  const float* t = surface + 13 * m;
  float rx = (i - t[7]) + dx, ry = (j - t[8]) + dy, rz = (k - t[9]) + dz;
  const float fall = (1.0f - t[10] * rx * rx) * (1.0f - t[11] * ry * ry)
                   * (1.0f - t[12] * rz * rz);
  return fall * (ex * (t[1] + t[5] * rz - t[6] * ry) + ey * (t[2] + t[6] * rx - t[4] * rz)
       + ez * (t[3] + t[4] * ry - t[5] * rx));
}

__device__ __forceinline__ float varies(const float* surface, int m) {
  const float* t = surface + 13 * m;
  if (t[0] != 0.0f) return 0.0f;
  return max2(max2(max2(fabsf(t[4]), fabsf(t[5])), fabsf(t[6])),
              max2(max2(fabsf(t[10]), fabsf(t[11])), fabsf(t[12])));
}
""".replace("@PAIR", PAIR_HEAD)

_PLACE = """
  const int i = @ % LX, j = (@ / LX) % LY, k = @ / (LX * LY);
  const int x0 = X(i), xp = (i + 1 == LX ? X(0) : X(i + 1)), xl = (i == 0 ? X(LX - 1) : X(i - 1));
  const int j0 = j, jp = (j + 1 == LY ? 0 : j + 1), jl = (j == 0 ? LY - 1 : j - 1);
  const int k0 = k, kp = (k + 1 == LZ ? 0 : k + 1), kl = (k == 0 ? LZ - 1 : k - 1);
"""


# The store addresses equal the load addresses; working them out again from an opaque copy of the
# cell number keeps 27 pointers out of the registers while the cell collides.
_AGAIN = ["int again = n;", 'asm volatile("" : "+r"(again));', _PLACE.replace("@", "again")]


def _there(e: tuple[int, int, int], sign: int) -> str:
    names = [{0: "0", 1: "p", -1: "l"}[c * sign] for c in e]
    return f"((k{names[2]} * LY + j{names[1]}) * LX + x{names[0]})"


def _velocity(i: int) -> tuple[int, int, int]:
    x, y, z = (int(c) for c in VELOCITY[i])
    return x, y, z


def _load(even: bool, by: str = "ld") -> list[str]:
    if even:
        return [f"float f{i} = {by}(AT({i}, n));" for i in range(N_VELOCITY)]
    return [
        f"float f{i} = {by}(SLOT({OPPOSITE[i]}, {_there(_velocity(i), -1)}));"
        for i in range(N_VELOCITY)
    ]


def _store(i: int, even: bool, by: str = "st") -> str:
    if even:
        return f"{by}(AT({OPPOSITE[i]}, n), g{i});"
    return f"{by}(SLOT({i}, {_there(_velocity(i), 1)}), g{i});"


def _bulk(even: bool, setup: Setup) -> str:
    # collision is linear in the unit of density: stored numbers are collided as they stand
    body = [*_load(even, "get")]
    body += recipe.c_lines(recipe.collision(force=any(setup.force), unit="UNIT"))
    if setup.sponge is not None:
        body.append("const float sigma = max2(sx[i], max2(sy[j], sz[k]));")
        body += [x.replace("G[", "UNIT * G[") for x in recipe.c_lines(recipe.absorb())]
    body += ["{", *_AGAIN, *[_store(i, even, "put") for i in range(N_VELOCITY)], "}"]
    name = "bulk_even" if even else "bulk_odd"
    return (
        f'extern "C" __global__ void __launch_bounds__(BLOCK) {name}(S* __restrict__ f,'
        " const u8* __restrict__ mark, const float* __restrict__ sx,"
        " const float* __restrict__ sy, const float* __restrict__ sz,"
        " const int first, const int last) {\n"
        "  const int n = first + blockIdx.x * BLOCK + threadIdx.x;\n"
        "  if (n >= last || mark[n] != 0) return;\n"
        + _PLACE.replace("@", "n")
        + _CONSTANT
        + "\n".join(body)
        + "\n}\n"
    )


_CONSTANT = """
  const float Fx = UNIT * FX, Fy = UNIT * FY, Fz = UNIT * FZ, om = OMEGA;
"""
_WALL_CONSTANT = """
  float Fx = FX, Fy = FY, Fz = FZ;
  const float nu = NU;
"""


def _wall(even: bool) -> str:
    body = ["const int side = main_[m];"]
    body += [f"const float n{a} = geo[(size_t){c} * NWALL + m];" for c, a in enumerate("xyz")]
    body += ["const float y = geo[(size_t)3 * NWALL + m];"]
    body += [
        f"const float {name} = geo[(size_t){4 + n} * NWALL + m];"
        for n, name in enumerate(wall_recipe.GROUND)
    ]
    body += ["const float wall_law = surface[13 * side], turns = varies(surface, side);"]
    body += [f"const float p{a} = -fabsf(y) * n{a};" for a in "xyz"]
    for a, unit in zip("xyz", ("1.0f,0.0f,0.0f", "0.0f,1.0f,0.0f", "0.0f,0.0f,1.0f"), strict=True):
        body.append(
            f"const float v{a} = other_surface(surface, side, {unit}, i, j, k, px, py, pz);"
        )
    body += ["const float fill = full[m];", "const float* own = core + 7 * zone[m];"]
    body += [f"const float {name} = own[{n}];" for n, name in enumerate(porous_recipe.CORE)]
    for row, name in enumerate(("lately", "kept", "keptx", "kepty", "keptz"), wall_recipe.KEPT - 1):
        body.append(f"const float {name} = out[(size_t){row} * NWALL + m];")
    body.append(f"const float renew = {wall_recipe.RENEW if even else 0.0}f;")
    body.append(f"const float later = {0.0 if even else 1.0}f;")
    for q in range(1, N_VELOCITY):
        body.append(f"const float w{q} = cut[(size_t){q - 1} * NWALL + m];")
        body.append(f"const float q{q} = w{q} > {THIN}f ? w{q} - {THIN}f : w{q};")
    body += _load(even)
    if not even:  # across a thin part what was sent back lies in the own place
        body += [
            f"if (w{OPPOSITE[q]} > {THIN}f) f{q} = ld(AT({q}, n));" for q in range(1, N_VELOCITY)
        ]
    body += recipe.c_lines(porous_recipe.resist())
    body += recipe.c_lines(wall_recipe.wall_collision())
    body.append("const float sigma = max2(sx[i], max2(sy[j], sz[k]));")
    body += recipe.c_lines(recipe.absorb())
    for q in range(1, N_VELOCITY):
        body.append(f"const int sid{q} = sid[(size_t){q - 1} * NWALL + m];")
    body += ["float Fxw = 0.0f, Fyw = 0.0f, Fzw = 0.0f;"]
    body += recipe.c_lines(wall_recipe.slip())
    body.append("st(AT(0, n), g0);")
    for q in range(1, N_VELOCITY):
        e = _velocity(q)
        away = [f"{'' if v > 0 else '-'}q{q}" if v else "0.0f" for v in e]
        hit = ", ".join(("i, j, k", *away))
        call = f"other_surface(surface, sid{q}, {e[0]}.0f, {e[1]}.0f, {e[2]}.0f, {hit})"
        body.append(f"if (q{q} > 0.0f) {{")
        kind = f"surface[13 * sid{q}]"
        body += [
            t.replace(f"other({q})", call).replace(f"kind({q})", kind)
            for t in recipe.c_lines(wall_recipe.link(q))
        ]
        own = f"st(AT({OPPOSITE[q]}, n), r);"
        behind = f"if (w{q} < {THIN}f) st(SLOT({q}, {_there(e, 1)}), r); else {own}"
        body += [behind if even else own, "} else {", _store(q, even), "}"]
    body += recipe.c_lines(wall_recipe.loads())
    for row, text in enumerate(wall_recipe.RECORDED):
        place = f"out[(size_t){row} * NWALL + m]"
        # stress flips sign from step to step where viscosity is small: a pair of steps is averaged
        body.append(f"{place} = {text};" if even else f"{place} = 0.5f * ({place} + ({text}));")
    for row, text in enumerate(("known", "swingx", "swingy", "swingz"), wall_recipe.KEPT):
        body.append(f"out[(size_t){row} * NWALL + m] = {text};")
    name = "wall_even" if even else "wall_odd"
    return (
        f'extern "C" __global__ void {name}(S* __restrict__ f, const int* __restrict__ cell,'
        " const float* __restrict__ cut, const u8* __restrict__ sid, const u8* __restrict__ main_,"
        " const float* __restrict__ geo, const float* __restrict__ surface,"
        " const float* __restrict__ sx, const float* __restrict__ sy,"
        " const float* __restrict__ sz, const u8* __restrict__ zone,"
        " const float* __restrict__ full, const float* __restrict__ core,"
        " float* __restrict__ out,"
        " const int first, const int last) {\n"
        "  const int m = first + blockIdx.x * 128 + threadIdx.x;\n  if (m >= last) return;\n"
        "  const int n = cell[m];\n"
        + _PLACE.replace("@", "n")
        + _WALL_CONSTANT
        + "\n".join(body)
        + "\n}\n"
    )


_FIELD = """
extern "C" __global__ void fields(const S* __restrict__ f, const u8* __restrict__ mark,
                                  float* __restrict__ mean, const int add) {
  const int t = blockIdx.x * 256 + threadIdx.x;
  if (t >= NCELL) return;
  const int n = cell_at(t);
  if (mark[n] == 1) return;
  const float Fx = FX, Fy = FY, Fz = FZ;
%s
  const size_t N = NCELL;
  if (add) {
    mean[n] += rho; mean[N + n] += u; mean[2 * N + n] += v; mean[3 * N + n] += w;
  } else {
    mean[n] = rho; mean[N + n] = u; mean[2 * N + n] = v; mean[3 * N + n] = w;
  }
}
extern "C" __global__ void window(const S* __restrict__ f, const u8* __restrict__ mark,
                                  float* __restrict__ out, const int i0, const int j0, const int k0,
                                  const int nx, const int ny, const int nz) {
  const int c = blockIdx.x * 256 + threadIdx.x, N = nx * ny * nz;
  if (c >= N) return;
  const int n = ((k0 + c / (nx * ny)) * LY + j0 + c / nx %% ny) * LX + i0 + c %% nx;
  const int t = place(n);
  const float Fx = FX, Fy = FY, Fz = FZ;
%s
  const bool open = mark[n] != 1;
  out[c] = open ? rho : 1.0f; out[N + c] = open ? u : 0.0f;
  out[2 * N + c] = open ? v : 0.0f; out[3 * N + c] = open ? w : 0.0f;
}
extern "C" __global__ void begin(S* __restrict__ f, const float* __restrict__ m) {
  const int t = blockIdx.x * 256 + threadIdx.x;
  if (t >= NCELL) return;
  const int n = cell_at(t);
  const size_t N = NCELL;
  const float rho = m[n], u = m[N + n], v = m[2 * N + n], w = m[3 * N + n];
  const float ax[3] = {SIXTH + 0.5f * (u * u - u), TWOTHIRD - u * u, SIXTH + 0.5f * (u * u + u)};
  const float ay[3] = {SIXTH + 0.5f * (v * v - v), TWOTHIRD - v * v, SIXTH + 0.5f * (v * v + v)};
  const float az[3] = {SIXTH + 0.5f * (w * w - w), TWOTHIRD - w * w, SIXTH + 0.5f * (w * w + w)};
%s
}
extern "C" __global__ void fill(S* __restrict__ f) {
  const int t = blockIdx.x * 256 + threadIdx.x;
  if (t >= NCELL) return;
  const int j = (t / LX) %% LY, k = t / (LX * LY);
%s
}
"""


def _field_text() -> str:
    lines = [f"float f{i} = ld(SLOT({i}, t));" for i in range(N_VELOCITY)]
    lines += recipe.c_lines(recipe.moments())
    start = []
    for i in range(N_VELOCITY):
        x, y, z = (c + 1 for c in _velocity(i))
        w = f"{WEIGHT[i]:.9g}f"
        start.append(f"st(SLOT({i}, t), rho * ax[{x}] * ay[{y}] * az[{z}] - {w});")
    fill = [f"st(SLOT({i}, t), G[{i}]);" for i in range(N_VELOCITY)]
    moments = "\n".join(lines)
    return _FIELD % (moments, moments, "\n".join(start), "\n".join(fill))


def cuda_source(setup: Setup, *, half: bool, block: int) -> str:
    """Return the CUDA C++ text for one setup; its constants are folded in.

    Parameters
    ----------
    setup
        The flow problem.
    half
        Store populations in half precision.
    block
        Threads per block of the bulk kernel.

    Returns
    -------
    text
        One translation unit.
    """
    lx, ly, lz = setup.shape
    values: dict[str, str] = {
        "HALF": str(int(half)),
        "PAIR": str(int(paired(setup, half=half))),
        "SCALE": f"{SCALE:.1f}f",
        "BLOCK": str(block),
        "LX": str(lx),
        "LY": str(ly),
        "LZ": str(lz),
        "NCELL": str(setup.n_cell),
        "NWALL": str(setup.walls.cell.size),
        "OMEGA": f"{relaxation_rate(setup.viscosity):.9e}f",
        "NU": f"{setup.viscosity:.9e}f",
    }
    # a force that may change stands in constant memory; no force at all costs nothing
    for axis, name in enumerate(("FX", "FY", "FZ")):
        values[name] = f"FORCE[{axis}]" if any(setup.force) else "0.0f"
    head = "\n".join(f"#define {key} {value}" for key, value in values.items())
    constant = 'extern "C" { __constant__ float FORCE[3]; }\n' if any(setup.force) else ""
    if setup.profile is None:
        stream = ", ".join(f"{g:.9e}f" for g in setup.free_stream())
        constant += f"__device__ const float G[27] = {{{stream}}};\n"
    else:
        constant += 'extern "C" { __device__ float STREAM[27 * LY * LZ]; }\n'
        constant += "#define G (STREAM + 27 * (k * LY + j))\n"
    bulk = bulk_pair if paired(setup, half=half) else _bulk
    text = head + _HEAD + constant + bulk(True, setup) + bulk(False, setup) + _field_text()
    if setup.walls.cell.size:
        text += _wall(True) + _wall(False)
    return text
