# mypy: disable-error-code="untyped-decorator,import-untyped,no-untyped-def,no-untyped-call"
"""Forward and backward passes over one lap, and the time they add up to.

Explicit midpoint rule in E = v²/2 with the midpoint predicted from the previous cell's
acceleration: one evaluation a cell and second order. Where braking meets driving inside a cell,
the meeting point is placed exactly, so that lap time has no steps as parameters move.
"""

from math import sqrt
from typing import no_type_check

import numpy as np
from numba import njit

from tuftwork.lap.kernel import cap_energy, solve_point
from tuftwork.lap.physics import BRAKE, COAST, DRIVE, TURNING, inner

FREE, BRAKED, CAPPED, GIVEN = 0, 1, 2, 3
"""Where a node's speed comes from: driving, braking, the cornering limit, the caller."""

GONE, STALLED = 1, 2
_SCREEN = 0.72  # squared lateral use of the better-placed guess beyond which the limit is solved


@inner
@no_type_check
def _crossing(ei, ej, h, a, d):
    """Return time over a cell that is driven, then braked."""
    vi, vj = sqrt(2.0 * ei), sqrt(2.0 * ej)
    if a + d < 1e-6:  # coasting both ways: nothing to meet
        return 2.0 * h / (vi + vj)
    x = min(max((ej + d * h - ei) / (a + d), 0.0), h)
    vs = sqrt(2.0 * max(ei + a * x, 1e-9))
    return 2.0 * x / (vi + vs) + 2.0 * (h - x) / (vs + vj)


@inner
@no_type_check
def _level(i, cell_road, node_road, mix):
    """Return whether a cell and both its ends lie on the same road in the same state."""
    for j in range(6):
        if node_road[i, j] != cell_road[i, j] or node_road[i + 1, j] != cell_road[i, j]:
            return False
    return mix[i, 0] == mix[i - 1, 0] and mix[i, 2] == mix[i - 1, 2] == 0.0


@inner
@no_type_check
def _tightens(i, node_road):
    """Return whether the road only tightens to the next node, all else equal."""
    for j in range(1, 6):
        if node_road[i + 1, j] != node_road[i, j]:
            return False
    return node_road[i + 1, 0] > node_road[i, 0]


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def run(grid, closed, first, last, ceiling, p, flags, aero, power, power_step):
    """Run both passes. Returns time, node energies and kinds, cell states, and a fault code."""
    length, cell_road, node_road, mix = grid
    n = length.shape[0]
    energy = np.empty(n + 1)
    kind = np.zeros(n + 1, np.int64)
    limit = np.zeros((n, 2), np.int64)
    cap = np.zeros((n + 1, 3))
    ahead = np.zeros((n, 4))
    behind = np.zeros((n, 4))
    hf, hr = p[23] - 0.005, p[24] - 0.005
    road = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    energy[0], kind[0] = first, GIVEN
    r = node_road[0]
    road = (r[0], r[1], r[2], r[3], r[4], r[5])
    e, chf, chr_, axle, capped, ok = cap_energy(
        first * (1.0 + 1e-9) + 1e-9, hf, hr, road, mix[0], p, flags, aero
    )
    if not ok:
        return 0.0, energy, kind, limit, cap, ahead, behind, STALLED, 0
    hf, hr = chf, chr_
    if capped:
        energy[0], kind[0] = e, CAPPED
        cap[0, 0], cap[0, 1], cap[0, 2] = chf, chr_, axle
    before, ax, turning = 0.0, 0.0, 0.0
    for i in range(n):
        c = cell_road[i]
        road = (c[0], c[1], c[2], c[3], c[4], c[5])
        if i > 0 and kind[i] == CAPPED and _level(i, cell_road, node_road, mix):
            # the same road at the same limit: nothing to solve
            energy[i + 1], kind[i + 1] = energy[i], CAPPED
            cap[i + 1, 0], cap[i + 1, 1], cap[i + 1, 2] = cap[i, 0], cap[i, 1], cap[i, 2]
            ahead[i, 1], ahead[i, 2], ahead[i, 3] = cap[i, 0], cap[i, 1], energy[i]
            limit[i, 0] = int(cap[i, 2])
            continue
        if i > 0 and kind[i] == CAPPED and _tightens(i, node_road):
            # at the limit of a wider bend already: only the next limit can follow
            r = node_road[i + 1]
            road = (r[0], r[1], r[2], r[3], r[4], r[5])
            e, chf, chr_, axle, capped, ok = cap_energy(
                energy[i], cap[i, 0], cap[i, 1], road, mix[i], p, flags, aero
            )
            if ok and capped:
                energy[i + 1], kind[i + 1], limit[i, 0] = e, CAPPED, axle
                cap[i + 1, 0], cap[i + 1, 1], cap[i + 1, 2] = chf, chr_, axle
                ahead[i, 1], ahead[i, 2], ahead[i, 3] = cap[i, 0], cap[i, 1], energy[i]
                before, ax, hf, hr = 0.0, 0.0, chf, chr_
                continue
            road = (c[0], c[1], c[2], c[3], c[4], c[5])
        em = max(energy[i] + 0.5 * length[i] * before, 0.05 * energy[i] + 1e-4)
        ax, hf, hr, lim, ok, by = solve_point(
            DRIVE, em, (ax, hf, hr, turning), road, mix[i], p, flags, aero, power, power_step
        )
        if not ok:
            return 0.0, energy, kind, limit, cap, ahead, behind, STALLED, i
        ahead[i, 0], ahead[i, 1], ahead[i, 2], ahead[i, 3] = ax, hf, hr, em
        limit[i, 0] = lim
        turning = 1.0 if lim == TURNING else 0.0
        trial = energy[i] + length[i] * ax
        spent = lim == COAST  # the corner tightens past what tyres give: its own limit comes next
        if spent:
            trial, ax = energy[i] * (1.0 + 1e-3), 0.0
        if not trial > 1e-6:
            return 0.0, energy, kind, limit, cap, ahead, behind, GONE, i
        before = ax
        r = node_road[i + 1]
        side = p[0] * (2.0 * trial * r[0] * r[2] - p[44] * r[1] * r[4])
        use = max((side * p[1] / by[2]) ** 2, (side * (1.0 - p[1]) / by[3]) ** 2)
        jump = r[0] > 1.1 * c[0] + 1e-4 or r[5] < c[5] - 1e-4
        if spent or use > _SCREEN or trial > ceiling or (jump and use > 0.3):
            road = (r[0], r[1], r[2], r[3], r[4], r[5])
            e, chf, chr_, axle, capped, ok = cap_energy(
                min(trial, ceiling), hf, hr, road, mix[i], p, flags, aero
            )
            if not ok:
                return 0.0, energy, kind, limit, cap, ahead, behind, STALLED, i
            if capped:
                trial, before = e, 0.0
                kind[i + 1] = CAPPED
                cap[i + 1, 0], cap[i + 1, 1], cap[i + 1, 2] = chf, chr_, axle
            elif spent:
                trial, before = energy[i] + length[i] * ahead[i, 0], ahead[i, 0]
            elif trial > ceiling:
                trial, before = ceiling, 0.0
                kind[i + 1] = GIVEN
        energy[i + 1] = trial
    if not closed and last < energy[n]:
        energy[n], kind[n] = last, GIVEN
    elif closed and kind[0] == CAPPED and energy[0] < energy[n]:
        energy[n], kind[n] = energy[0], CAPPED
        cap[n, 0], cap[n, 1], cap[n, 2] = cap[0, 0], cap[0, 1], cap[0, 2]
    met = np.zeros(n, np.int64)
    chain = False
    before, dec = 0.0, 0.0
    for i in range(n - 1, -1, -1):
        if not chain:
            level = energy[i] <= energy[i + 1] * (1.0 + 1e-9)  # on one limit, to rounding
            if kind[i + 1] == FREE or (level and kind[i] != FREE):
                continue
            before = 0.0
            hf, hr = ahead[i, 1], ahead[i, 2]
        em = energy[i + 1] + 0.5 * length[i] * before
        c = cell_road[i]
        road = (c[0], c[1], c[2], c[3], c[4], c[5])
        dec, hf, hr, lim, ok, by = solve_point(
            BRAKE,
            em,
            (min(-before, -0.5), hf, hr, 0.0),
            road,
            mix[i],
            p,
            flags,
            aero,
            power,
            power_step,
        )
        if not ok:
            return 0.0, energy, kind, limit, cap, ahead, behind, STALLED, i
        behind[i, 0], behind[i, 1], behind[i, 2], behind[i, 3] = dec, hf, hr, em
        limit[i, 1] = lim
        trial = energy[i + 1] - length[i] * dec
        if trial < energy[i]:
            energy[i], kind[i] = trial, BRAKED
            chain, before = True, -dec
            met[i] = 1
        else:
            met[i] = 2 if kind[i] == FREE or kind[i] == GIVEN else 0
            chain = False
    time = 0.0
    for i in range(n):
        if met[i] == 2:
            time += _crossing(energy[i], energy[i + 1], length[i], ahead[i, 0], -behind[i, 0])
        else:
            time += 2.0 * length[i] / (sqrt(2.0 * energy[i]) + sqrt(2.0 * energy[i + 1]))
    # the way a cell was covered is kept in limit's spare bits: 0 driven, 1 braked, 2 both
    for i in range(n):
        limit[i, 0] += 16 * met[i]
    return time, energy, kind, limit, cap, ahead, behind, 0, 0
