"""Write the CPU kernels from the recipe: ``python -m tuftwork.flow.generate`` renews the file.

The generated file is kept in the package so that its compiled form can be cached;
a test checks that it still says what the recipe says.
"""

import re
from pathlib import Path

from tuftwork.flow import porous_recipe, recipe, wall_recipe
from tuftwork.flow.lattice import N_VELOCITY, OPPOSITE, VELOCITY
from tuftwork.flow.setup import THIN

WIDE = 64
_NUMBER = re.compile(r"\b(?:\d+\.\d+|THIRD|NINTH|SIXTH|TWOTHIRD)\b")
TARGET = Path(__file__).with_name("_cpu_kernel.py")

_HEAD = '''"""CPU kernels, generated from recipe.py by generate.py. Do not edit."""

# ruff: noqa
# fmt: off
# mypy: ignore-errors
from math import exp, log, sqrt
from typing import no_type_check

import numpy as np
from numba import njit, prange

THIRD, NINTH, SIXTH, TWOTHIRD = 1.0 / 3.0, 1.0 / 9.0, 1.0 / 6.0, 2.0 / 3.0


@njit(error_model="numpy")
@no_type_check
def max2(a, b):
    return a if a > b else b


@njit(error_model="numpy")
@no_type_check
def min2(a, b):
    return a if a < b else b


@njit(error_model="numpy")
@no_type_check
def ahead(n, count):
    """Next of ``count`` places in a ring."""
    return n + 1 if n + 1 < count else 0


@njit(error_model="numpy")
@no_type_check
def behind(n, count):
    """The place before in a ring of ``count``."""
    return n - 1 if n > 0 else count - 1


@njit(error_model="numpy")
@no_type_check
def other_surface(table, m, ex, ey, ez, i, j, k, dx, dy, dz):
    """Lattice velocity dotted with the speed of a surface at a point beside a cell."""
    # cell less centre first: whole layers that a slab leaves away change no bit of it
    rx, ry, rz = (i - table[m, 7]) + dx, (j - table[m, 8]) + dy, (k - table[m, 9]) + dz
    vx = table[m, 1] + table[m, 5] * rz - table[m, 6] * ry
    vy = table[m, 2] + table[m, 6] * rx - table[m, 4] * rz
    vz = table[m, 3] + table[m, 4] * ry - table[m, 5] * rx
    fall = (
        (1.0 - table[m, 10] * rx * rx)
        * (1.0 - table[m, 11] * ry * ry)
        * (1.0 - table[m, 12] * rz * rz)
    )
    return fall * (ex * vx + ey * vy + ez * vz)


@njit(error_model="numpy")
@no_type_check
def varies(table, m):
    """Whether a surface without slip moves otherwise at other places."""
    if table[m, 0] != 0.0:
        return 0.0
    out = 0.0
    for n in (4, 5, 6, 10, 11, 12):
        out = max2(out, max2(table[m, n], -table[m, n]))
    return out


'''

_ROW = '''WIDE = {wide}
"""Cells collided together: what is read and written of them stays in the nearest cache."""
SHARES = 256
"""Shares in which the rows of a box are given to the cores; room to work in is made for each."""
NUMBERS = np.array([{numbers}])
"""The numbers of the collision, to be had in the precision of the populations."""


@njit(
    cache=True, error_model="numpy", fastmath={{"contract", "nsz", "reassoc", "nnan", "ninf"}}
)
@no_type_check
def collide_cells(held, count, setting, number):
    """Collide ``count`` cells, in a buffer of 27 rows before and 27 rows after, in place."""
    om, Fx, Fy, Fz, nu = setting[0], setting[1], setting[2], setting[3], setting[4]
{named}
    for n in range(count):
        i = np.uint64(n)  # one buffer and unsigned places: several cells go at once
'''

_BULK = '''

@njit(error_model="numpy")
@no_type_check
def carry(to, at, of, begin, count):
    """Copy ``count`` values from one flat array into another."""
    to_n, of_n = np.uint64(at), np.uint64(begin)
    for n in range(count):  # unsigned places: copied several at once
        to[to_n + np.uint64(n)] = of[of_n + np.uint64(n)]


@njit(cache=True, error_model="numpy")
@no_type_check
def plain_runs(flag, here, first, last, run):
    """Find the runs of plain cells in part of a row; returns how many."""
    runs = 0
    beside = False
    for i in range(first, last):
        plain = flag[here + i] == 0
        if plain:
            if not beside:
                run[runs, 0] = i
                runs += 1
            run[runs - 1, 1] = i + 1
        beside = plain
    return runs


@njit(cache=True, error_model="numpy")
@no_type_check
def bulk_row(row, f, flag, shape, even, setting, stream, sx, sy, sz, has_sponge, room):
    """Advance the plain cells of one row by one step in place."""
    held, run, number = room
    lx, ly, lz = shape[0], shape[1], shape[2]
    k, j = row // ly, row % ly
    here, size = row * lx, lx * ly * lz
    for start in range(0, lx, WIDE):
        runs = plain_runs(flag, here, start, min(start + WIDE, lx), run)
        if runs == 0:
            continue
        first, last = run[0, 0], run[runs - 1, 1]
        for q in range(27):
            to, o = q * WIDE, OPP[q]
            if even:
                carry(held, to, f, q * size + here + first, last - first)
                continue
            ex, ey, ez = VEL[q, 0], VEL[q, 1], VEL[q, 2]
            back = o * size + (((k - ez) % lz) * ly + (j - ey) % ly) * lx
            begin, end = max(first, ex), min(last, lx + ex)
            if begin > first:
                held[to] = f[back + lx - 1]
            carry(held, to + begin - first, f, back + begin - ex, end - begin)
            if end < last:
                held[to + end - first] = f[back]
        collide_cells(held, (last - first + 15) // 16 * 16, setting, number)
        if has_sponge:
            G = stream[row if stream.shape[0] > 1 else 0]
            across = max2(sy[j], sz[k])
            for i in range(first, last):
                sigma = max2(across, sx[i])
                if sigma > 0.0:
                    for q in range(27):
                        at = (27 + q) * WIDE + i - first
                        held[at] += sigma * (G[q] - held[at])
        for q in range(27):
            of, o = (27 + q) * WIDE - first, OPP[q]
            ex, ey, ez = VEL[q, 0], VEL[q, 1], VEL[q, 2]
            ahead = q * size + (((k + ez) % lz) * ly + (j + ey) % ly) * lx
            for r in range(runs):
                begin, end = run[r, 0], run[r, 1]
                if even:
                    carry(f, o * size + here + begin, held, of + begin, end - begin)
                    continue
                if begin + ex < 0:
                    f[ahead + lx - 1] = held[of]
                    begin += 1
                if end + ex > lx:
                    end -= 1
                    f[ahead] = held[of + end]
                carry(f, ahead + begin + ex, held, of + begin, end - begin)


@njit(cache=True, error_model="numpy")
@no_type_check
def room_for(f):
    """Room for the cells that one core collides, and the numbers, in the precision of ``f``."""
    return np.zeros(54 * WIDE, f.dtype), np.empty((WIDE, 2), np.int64), NUMBERS.astype(f.dtype)


@njit(cache=True, parallel=True, error_model="numpy")
@no_type_check
def step_bulk(f, flag, shape, even, setting, stream, sx, sy, sz, has_sponge):
    """Advance every plain cell on all cores."""
    flat, own = f.reshape(-1), setting.astype(f.dtype)
    rows = shape[1] * shape[2]
    shares = min(rows, SHARES)
    for share in prange(shares):
        room, n = room_for(f), np.int64(share)
        for row in range(rows * n // shares, rows * (n + 1) // shares):
            bulk_row(row, flat, flag, shape, even, own, stream, sx, sy, sz, has_sponge, room)


@njit(cache=True, error_model="numpy")
@no_type_check
def step_bulk_alone(f, flag, shape, even, setting, stream, sx, sy, sz, has_sponge):
    """Advance every plain cell on one core."""
    flat, own, room = f.reshape(-1), setting.astype(f.dtype), room_for(f)
    for row in range(shape[1] * shape[2]):
        bulk_row(row, flat, flag, shape, even, own, stream, sx, sy, sz, has_sponge, room)


'''

_WALL = '''@njit(cache=True, error_model="numpy")
@no_type_check
def wall_cell(
    m, f, shape, even, setting, stream, sx, sy, sz, cell, cut, sid, main, geo, table,
    zone, full, core, out
):
    """Advance one cell beside a wall by one step in place."""
    lx, ly, lz = shape[0], shape[1], shape[2]
    Fx, Fy, Fz, nu = setting[1], setting[2], setting[3], setting[4]
    n = cell[m]
    i, j, k = n % lx, (n // lx) % ly, n // (lx * ly)
    ip, jp, kp = ahead(i, lx), ahead(j, ly), ahead(k, lz)
    im, jm, km = behind(i, lx), behind(j, ly), behind(k, lz)
    sigma = max2(sx[i], max2(sy[j], sz[k]))
    G = stream[k * ly + j if stream.shape[0] > 1 else 0]
    side = main[m]
    nx, ny, nz, y = geo[m, 0], geo[m, 1], geo[m, 2], geo[m, 3]
    wall_law = table[side, 0]
    turns = varies(table, side)
    foot = max2(y, -y)
    px, py, pz = -foot * nx, -foot * ny, -foot * nz
    vx = other_surface(table, side, 1.0, 0.0, 0.0, i, j, k, px, py, pz)
    vy = other_surface(table, side, 0.0, 1.0, 0.0, i, j, k, px, py, pz)
    vz = other_surface(table, side, 0.0, 0.0, 1.0, i, j, k, px, py, pz)
    Fxw, Fyw, Fzw = 0.0, 0.0, 0.0
    fill, part = full[m], zone[m]
'''

_WALL_END = '''

@njit(cache=True, parallel=True, error_model="numpy")
@no_type_check
def step_wall(
    f, shape, even, setting, stream, sx, sy, sz, cell, cut, sid, main, geo, table,
    zone, full, core, out
):
    """Advance every cell beside a wall on all cores."""
    for m in prange(cell.size):
        # the loop counts unsigned: without this the cell would be compiled twice
        wall_cell(
            np.int64(m), f, shape, even, setting, stream, sx, sy, sz, cell, cut, sid, main, geo,
            table, zone, full, core, out
        )


@njit(cache=True, error_model="numpy")
@no_type_check
def step_wall_alone(
    f, shape, even, setting, stream, sx, sy, sz, cell, cut, sid, main, geo, table,
    zone, full, core, out
):
    """Advance every cell beside a wall on one core."""
    for m in range(cell.size):
        wall_cell(
            m, f, shape, even, setting, stream, sx, sy, sz, cell, cut, sid, main, geo, table,
            zone, full, core, out
        )
'''


def _neighbour(e: tuple[int, ...], sign: int) -> str:
    near = {1: "p", 0: "", -1: "m"}
    i, j, k = (c + near[v * sign] for c, v in zip("ijk", e, strict=True))
    return f"({k} * ly + {j}) * lx + {i}"


def _hit(i: int) -> str:
    """Where link ``i`` meets its surface: its cell, and how far from there."""
    away = [f"{'' if v > 0 else '-'}q{i}" if v else "0.0" for v in VELOCITY[i]]
    return ", ".join(("i, j, k", *away))


def _wall_body() -> list[str]:
    out = []
    pad = "    "
    for i in range(1, N_VELOCITY):
        out.append(f"{pad}w{i}, sid{i} = cut[m, {i - 1}], sid[m, {i - 1}]")
        out.append(f"{pad}q{i} = w{i} - {THIN} if w{i} > {THIN} else w{i}")
    out.append(f"{pad}if even:")
    out += [f"{pad}    f{i} = f[{i}, n]" for i in range(N_VELOCITY)]
    out.append(f"{pad}else:")
    for i in range(N_VELOCITY):
        e = tuple(int(x) for x in VELOCITY[i])
        there = f"f[{OPPOSITE[i]}, {_neighbour(e, -1)}]"
        own = f"f[{i}, n] if w{OPPOSITE[i]} > {THIN} else " if i else ""
        out.append(f"{pad}    f{i} = {own}{there}")
    out += [f"{pad}{name} = core[part, {n}]" for n, name in enumerate(porous_recipe.CORE)]
    out += [f"{pad}{name} = geo[m, {4 + n}]" for n, name in enumerate(wall_recipe.GROUND)]
    kept = wall_recipe.KEPT
    out += [f"{pad}lately, kept = out[m, {kept - 1}], out[m, {kept}]"]
    swing = ", ".join(f"out[m, {kept + n}]" for n in (1, 2, 3))
    out += [f"{pad}keptx, kepty, keptz = {swing}"]
    out += [f"{pad}renew = {wall_recipe.RENEW} if even else 0.0"]
    out += [f"{pad}later = 0.0 if even else 1.0"]
    out += recipe.python_lines(porous_recipe.resist(), 1)
    out += recipe.python_lines(wall_recipe.wall_collision(), 1)
    out += recipe.python_lines(recipe.absorb(), 1)
    out += recipe.python_lines(wall_recipe.slip(), 1)
    out.append(f"{pad}f[0, n] = g0")
    for i in range(1, N_VELOCITY):
        e = tuple(int(x) for x in VELOCITY[i])
        o, there = OPPOSITE[i], _neighbour(e, 1)
        out.append(f"{pad}if q{i} > 0.0:")
        for text in recipe.python_lines(wall_recipe.link(i), 2):
            call = f"other_surface(table, sid{i}, {e[0]}.0, {e[1]}.0, {e[2]}.0, {_hit(i)})"
            out.append(text.replace(f"other({i})", call).replace(f"kind({i})", f"table[sid{i}, 0]"))
        out += [
            f"{pad}    if even and w{i} < {THIN}:",
            f"{pad}        f[{i}, {there}] = r",
            f"{pad}    else:",
            f"{pad}        f[{o}, n] = r",
            f"{pad}elif even:",
            f"{pad}    f[{o}, n] = g{i}",
            f"{pad}else:",
            f"{pad}    f[{i}, {there}] = g{i}",
        ]
    out += recipe.python_lines(wall_recipe.loads(), 1)
    # stress flips sign each step where viscosity is small: pairs are averaged
    out += [f"{pad}old = 0.0 if even else 0.5", f"{pad}new = 1.0 if even else 0.5"]
    out += [
        f"{pad}out[m, {n}] = old * out[m, {n}] + new * ({text})"
        for n, text in enumerate(wall_recipe.RECORDED)
    ]
    return [*out, f"{pad}out[m, {kept}] = known", f"{pad}{swing} = swingx, swingy, swingz"]


def _with_numbers(lines: list[str]) -> tuple[list[str], dict[str, str]]:
    """Give the numbers of some lines a name each, which may stand for any precision."""
    names: dict[str, str] = {}

    def named(found: re.Match[str]) -> str:
        return names.setdefault(found.group(), "n_" + found.group().replace(".", "_").lower())

    return [_NUMBER.sub(named, line) for line in lines], names


def cpu_source() -> str:
    """Return the text of the CPU kernels."""
    table = (
        f"VEL = np.array({VELOCITY.tolist()}, dtype=np.int64)\n"
        f"OPP = np.array({OPPOSITE.tolist()}, dtype=np.int64)\n\n\n"
    )
    body, names = _with_numbers(recipe.python_lines(recipe.collision(), 2))
    row = [f"        f{n} = held[i + np.uint64({n * WIDE})]" for n in range(N_VELOCITY)]
    row += body
    row += [
        f"        held[i + np.uint64({(N_VELOCITY + n) * WIDE})] = g{n}" for n in range(N_VELOCITY)
    ]
    head = _ROW.format(
        wide=WIDE,
        numbers=", ".join(names),
        named="\n".join(f"    {name} = number[{n}]" for n, name in enumerate(names.values())),
    )
    text = _HEAD + table + head + "\n".join(row) + _BULK
    return text + _WALL + "\n".join(_wall_body()) + "\n" + _WALL_END


def main() -> None:
    """Renew the generated file."""
    TARGET.write_text(cpu_source(), encoding="utf-8")


if __name__ == "__main__":
    main()
