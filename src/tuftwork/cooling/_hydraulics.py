"""The compiled heart of every net: flows and pressures of all draws at once.

Unknowns are the flow m of every edge and the total pressure p of every node. Edge law:
p_start - p_end + source = a m + b m sqrt(m² + d²) + c max(0, m - m0)². Node: inflow = outflow.
Each law rises with m, so the answer exists and is unique. A Newton step eliminates the edges
(Todini & Pilati 1988) and leaves a symmetric positive matrix on the nodes, factorised over the
static fill pattern of a minimum-degree order; a line search on the sum of squares guards it.
An edge whose d is below 0 has a given flow, its m0, whatever the pressures.
"""

from typing import no_type_check

import numpy as np
from numba import njit

TOLERANCE = 1e-11  # [-]  of the driving pressure and of the largest flow
MAX_ITERATION = 120


@njit(cache=True, nogil=True)
@no_type_check
def _residual(start, end, law, m, p, r_edge, r_node, p_scale, m_scale):
    """Fill the residuals of edges and nodes; return the merit and the largest of each."""
    for n in range(p.size):
        r_node[n] = 0.0
    total, worst_e, worst_n = 0.0, 0.0, 0.0
    for e in range(m.size):
        q = m[e]
        i, j = start[e], end[e]
        if i >= 0:
            r_node[i] -= q
        if j >= 0:
            r_node[j] += q
        if law[5, e] < 0.0:
            r_edge[e] = law[3, e] - q
            x = abs(r_edge[e]) / m_scale
            total += x * x
            worst_n = max(worst_n, x)
            continue
        drop = law[0, e] * q + law[1, e] * q * np.sqrt(q * q + law[5, e] * law[5, e])
        over = q - law[3, e]
        if law[2, e] > 0.0 and over > 0.0:
            drop += law[2, e] * over * over
        head = law[4, e]
        if i >= 0:
            head += p[i]
        if j >= 0:
            head -= p[j]
        r_edge[e] = head - drop
        x = abs(r_edge[e]) / p_scale
        total += x * x
        worst_e = max(worst_e, x)
    for n in range(p.size):
        x = abs(r_node[n]) / m_scale
        total += x * x
        worst_n = max(worst_n, x)
    return total, worst_e, worst_n


@njit(cache=True, nogil=True)
@no_type_check
def _factor_solve(work, rhs, fill_start, fill_row):
    """Factor the node matrix over its fill pattern and solve in place."""
    n = rhs.size
    for k in range(n):
        pivot = 1.0 / work[k, k]
        for s in range(fill_start[k], fill_start[k + 1]):
            i = fill_row[s]
            factor = work[i, k] * pivot
            for t in range(fill_start[k], s + 1):
                j = fill_row[t]
                work[i, j] -= factor * work[j, k]
            rhs[i] -= factor * rhs[k]
    for k in range(n - 1, -1, -1):
        value = rhs[k]
        for s in range(fill_start[k], fill_start[k + 1]):
            value -= work[fill_row[s], k] * rhs[fill_row[s]]
        rhs[k] = value / work[k, k]


@njit(cache=True, nogil=True)
@no_type_check
def solve_all(start, end, fill_start, fill_row, laws, flows, pressures, status):
    """Solve every draw in place; status holds iterations, or the negative of them on failure.

    ``laws`` is (n_draw, 6, n_edge): a, b, c, m0, source, d. Nodes are in elimination order;
    -1 is the grounded node.
    """
    n_draw, n_edge, n_node = flows.shape[0], flows.shape[1], pressures.shape[1]
    work = np.empty((n_node, n_node))
    rhs = np.empty(n_node)
    slope, r_edge, t_edge = np.empty(n_edge), np.empty(n_edge), np.empty(n_edge)
    r_node, t_node = np.empty(n_node), np.empty(n_node)
    dm, tm, tp = np.empty(n_edge), np.empty(n_edge), np.empty(n_node)
    for draw in range(n_draw):
        law, m, p = laws[draw], flows[draw], pressures[draw]
        p_scale, m_scale = 1e-9, 1e-12
        for e in range(n_edge):
            p_scale = max(p_scale, abs(law[4, e]))
        for e in range(n_edge):  # flow that the whole drive would push through this edge alone
            if law[5, e] < 0.0:
                q = abs(law[3, e])
                m_scale, least = max(m_scale, q), 1e300
                for k in range(n_edge):  # what it takes at the least to push it on
                    if law[5, k] >= 0.0:
                        least = min(least, (law[0, k] + law[1, k] * q) * q)
                p_scale = max(p_scale, least) if least < 1e300 else p_scale
                continue
            a, b = law[0, e], law[1, e]
            alone = 2.0 * p_scale / (a + np.sqrt(a * a + 4.0 * (b + 1e-12) * p_scale))
            m_scale = max(m_scale, alone) if alone < 1e6 else m_scale
        if m[0] != m[0]:  # not a number: no warm start
            for e in range(n_edge):
                if law[5, e] < 0.0:
                    m[e] = law[3, e]
                    continue
                a, b = law[0, e], law[1, e]
                m[e] = 0.3 * 2.0 * p_scale / (a + np.sqrt(a * a + 4.0 * (b + 1e-12) * p_scale))
            for n in range(n_node):
                p[n] = 0.0
        merit, worst_e, worst_n = _residual(start, end, law, m, p, r_edge, r_node, p_scale, m_scale)
        status[draw] = -MAX_ITERATION
        for iteration in range(MAX_ITERATION):
            if worst_e < TOLERANCE and worst_n < 1e-14:
                status[draw] = iteration
                break
            for i in range(n_node):
                rhs[i] = r_node[i]
                work[i, i] = 0.0
                for s in range(fill_start[i], fill_start[i + 1]):
                    work[fill_row[s], i] = 0.0
            for e in range(n_edge):
                i, j = start[e], end[e]
                if law[5, e] < 0.0:
                    if i >= 0:
                        rhs[i] -= r_edge[e]
                    if j >= 0:
                        rhs[j] += r_edge[e]
                    continue
                q, d = abs(m[e]), law[5, e]
                root = np.sqrt(q * q + d * d)
                slope[e] = law[0, e] + law[1, e] * (root + q * q / root)
                over = m[e] - law[3, e]
                if law[2, e] > 0.0 and over > 0.0:
                    slope[e] += 2.0 * law[2, e] * over
                g = 1.0 / slope[e]
                push = r_edge[e] * g
                if i >= 0:
                    work[i, i] += g
                    rhs[i] -= push
                if j >= 0:
                    work[j, j] += g
                    rhs[j] += push
                if i >= 0 and j >= 0:
                    if i > j:
                        work[i, j] -= g
                    else:
                        work[j, i] -= g
            _factor_solve(work, rhs, fill_start, fill_row)
            for e in range(n_edge):
                if law[5, e] < 0.0:
                    dm[e] = r_edge[e]
                    continue
                head = r_edge[e]
                if start[e] >= 0:
                    head += rhs[start[e]]
                if end[e] >= 0:
                    head -= rhs[end[e]]
                dm[e] = head / slope[e]
            step = 1.0
            for _ in range(12):
                for e in range(n_edge):
                    tm[e] = m[e] + step * dm[e]
                for n in range(n_node):
                    tp[n] = p[n] + step * rhs[n]
                new, w_e, w_n = _residual(start, end, law, tm, tp, t_edge, t_node, p_scale, m_scale)
                if new <= (1.0 - 1e-4 * step) * merit or new < 1e-26:
                    break
                step *= 0.5
            for e in range(n_edge):
                m[e], r_edge[e] = tm[e], t_edge[e]
            for n in range(n_node):
                p[n], r_node[n] = tp[n], t_node[n]
            stalled = new >= merit and new < 1e-20  # round-off floor: as good as it gets
            merit, worst_e, worst_n = new, w_e, w_n
            if stalled:
                status[draw] = iteration + 1
                break


@njit(cache=True, nogil=True)
@no_type_check
def mix_all(start, end, order_pressure, flows, heats, capacities, ambient, nodes, inlets, status):
    """Node and edge-inlet temperatures by sweeps down the pressure; heat is given per edge.

    A node's temperature is the flow-weighted mean of what enters it. Without fans the flow
    falls with pressure, and one sweep is exact; a recirculating fan takes more.
    """
    n_draw, n_edge, n_node = flows.shape[0], flows.shape[1], nodes.shape[1]
    inflow, weight = np.empty(n_node), np.empty(n_node)
    for draw in range(n_draw):
        m = flows[draw]
        status[draw] = 0
        for sweep in range(400):
            change = 0.0
            for k in range(n_node):
                n = order_pressure[draw, k]
                inflow[n], weight[n] = 0.0, 0.0
                for e in range(n_edge):
                    if end[e] == n and m[e] > 0.0:
                        up, q = start[e], m[e]
                    elif start[e] == n and m[e] < 0.0:
                        up, q = end[e], -m[e]
                    else:
                        continue
                    t = ambient[draw] if up < 0 else nodes[draw, up]
                    inflow[n] += q * t + heats[draw, e] / capacities[draw]
                    weight[n] += q
                new = inflow[n] / weight[n] if weight[n] > 0.0 else ambient[draw]
                change = max(change, abs(new - nodes[draw, n]))
                nodes[draw, n] = new
            if change < 1e-11 * ambient[draw]:
                status[draw] = sweep + 1
                break
        for e in range(n_edge):
            up = start[e] if m[e] >= 0.0 else end[e]
            inlets[draw, e] = ambient[draw] if up < 0 else nodes[draw, up]
