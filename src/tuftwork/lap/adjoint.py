# mypy: disable-error-code="untyped-decorator,import-untyped,no-untyped-def,no-untyped-call"
"""Exact gradient of lap time: the passes run backwards, point by point.

At a point R(y, E, p) = 0 with y = (ax, ride heights); from a weight on ax (or on a limit's E) the
transposed Jacobian gives multipliers, and one reverse sweep through the arithmetic of R gives the
derivative with respect to every parameter at the price of about one evaluation.
"""

from math import sqrt
from typing import no_type_check

import numpy as np
from numba import njit

from tuftwork.lap.passes import BRAKED, CAPPED, FREE
from tuftwork.lap.physics import BRAKE, COAST, DRIVE, ROLL, TURN, TURNING, inner
from tuftwork.lap.sweep import cap_back, point_back


@inner
@no_type_check
def _crossing_back(ei, ej, h, a, d):
    """Return slopes of a driven-then-braked cell's time with both energies, a and d."""
    den = a + d
    if den < 1e-6:  # coasting both ways: nothing to meet
        vi, vj = sqrt(2.0 * ei), sqrt(2.0 * ej)
        t = -2.0 * h / (vi + vj) ** 2
        return t / vi, t / vj, 0.0, 0.0
    x = min(max((ej + d * h - ei) / den, 0.0), h)
    es = max(ei + a * x, 1e-9)
    vi, vj, vs = sqrt(2.0 * ei), sqrt(2.0 * ej), sqrt(2.0 * es)
    t_x = 2.0 / (vi + vs) - 2.0 / (vs + vj)
    one, two = 2.0 * x / (vi + vs) ** 2, 2.0 * (h - x) / (vs + vj) ** 2
    t_es = -(one + two) / vs
    t_a = t_es * x
    full = t_x + t_es * a
    return (
        -one / vi + t_es - full / den,
        -two / vj + full / den,
        t_a - full * x / den,
        full * (h - x) / den,
    )


@inner
@no_type_check
def _crossing_length(ei, ej, h, a, d):
    """Return the slope of a driven-then-braked cell's time with its length."""
    vi, vj = sqrt(2.0 * ei), sqrt(2.0 * ej)
    den = a + d
    if den < 1e-6:
        return 2.0 / (vi + vj)
    x = min(max((ej + d * h - ei) / den, 0.0), h)
    vs = sqrt(2.0 * max(ei + a * x, 1e-9))
    t_x = 2.0 / (vi + vs) - 2.0 / (vs + vj)
    t_es = -(2.0 * x / (vi + vs) ** 2 + 2.0 * (h - x) / (vs + vj) ** 2) / vs
    return 2.0 / (vs + vj) + (t_x + t_es * a) * d / den


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def gradient(grid, answer, p, flags, aero, power, power_step):
    """Return slopes of time from the record of :func:`passes.run`.

    With every parameter, with the curvature of cells and of nodes, and with the cells' lengths.
    """
    length, cell_road, node_road, mix = grid
    _, energy, kind, limit, cap, ahead, behind, _, _ = answer
    n = length.shape[0]
    bar = np.zeros(n + 1)
    bar_a = np.zeros(n)
    bar_d = np.zeros(n)
    out = np.zeros(p.shape[0])
    out_cell, out_node, out_length = np.zeros(n), np.zeros(n + 1), np.zeros(n)
    for i in range(n):
        if limit[i, 0] // 16 == 2:
            ti, tj, ta, td = _crossing_back(
                energy[i], energy[i + 1], length[i], ahead[i, 0], -behind[i, 0]
            )
            bar[i] += ti
            bar[i + 1] += tj
            bar_a[i] += ta
            bar_d[i] += td
            out_length[i] += _crossing_length(
                energy[i], energy[i + 1], length[i], ahead[i, 0], -behind[i, 0]
            )
        else:
            vi, vj = sqrt(2.0 * energy[i]), sqrt(2.0 * energy[i + 1])
            t = -2.0 * length[i] / (vi + vj) ** 2
            out_length[i] += 2.0 / (vi + vj)
            bar[i] += t / vi
            bar[i + 1] += t / vj
    # braking chains: energy[i] came from energy[i + 1]
    for i in range(n):
        if kind[i] == BRAKED:
            bar[i + 1] += bar[i]
            bar_d[i] += bar[i] * length[i]
            out_length[i] -= bar[i] * behind[i, 0]
        if bar_d[i] != 0.0:
            c = cell_road[i]
            road = (c[0], c[1], c[2], c[3], c[4], c[5])
            how = ROLL if limit[i, 1] == COAST else BRAKE
            b_e, out_k = point_back(
                -bar_d[i],
                how,
                behind[i, 3],
                behind[i, 0],
                behind[i, 1],
                behind[i, 2],
                road,
                mix[i],
                p,
                flags,
                aero,
                power,
                power_step,
                out,
            )
            out_cell[i] += out_k
            bar[i + 1] += b_e
            if i + 1 < n and kind[i + 1] == BRAKED:
                bar_d[i + 1] += 0.5 * length[i] * b_e
                out_length[i] -= 0.5 * b_e * behind[i + 1, 0]
    # driving chains: energy[i + 1] came from energy[i]
    for i in range(n - 1, -1, -1):
        if kind[i + 1] == FREE:
            bar[i] += bar[i + 1]
            bar_a[i] += bar[i + 1] * length[i]
            out_length[i] += bar[i + 1] * ahead[i, 0]
        if bar_a[i] != 0.0:
            c = cell_road[i]
            road = (c[0], c[1], c[2], c[3], c[4], c[5])
            what = limit[i, 0] % 16
            how = TURN if what == TURNING else ROLL if what == COAST else DRIVE
            b_e, out_k = point_back(
                bar_a[i],
                how,
                ahead[i, 3],
                ahead[i, 0],
                ahead[i, 1],
                ahead[i, 2],
                road,
                mix[i],
                p,
                flags,
                aero,
                power,
                power_step,
                out,
            )
            out_cell[i] += out_k
            bar[i] += b_e
            if i > 0 and kind[i] == FREE:
                bar_a[i - 1] += 0.5 * length[i] * b_e
                out_length[i] += 0.5 * b_e * ahead[i - 1, 0]
    for i in range(n + 1):
        if kind[i] == CAPPED and bar[i] != 0.0:
            r = node_road[i]
            road = (r[0], r[1], r[2], r[3], r[4], r[5])
            out_node[i] = cap_back(
                bar[i],
                energy[i],
                cap[i, 0],
                cap[i, 1],
                road,
                mix[max(i - 1, 0)],
                p,
                flags,
                aero,
                out,
            )
    return out, out_cell, out_node, out_length
