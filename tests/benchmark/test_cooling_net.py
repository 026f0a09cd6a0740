"""Speed of the air net: all draws at once, against a general root finder on the same net."""

import time
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
from scipy.optimize import root

from tuftwork.cooling import (
    AirNet,
    Cooler,
    CoolingSystem,
    Core,
    Duct,
    Exit,
    Inlet,
    Leak,
    Surroundings,
    Target,
    blanking_chart,
    relative_draws,
    simple_loop,
    solve_air,
)
from tuftwork.cooling.element import Element
from tuftwork.cooling.net import topology
from tuftwork.cooling.network import stacked_laws
from tuftwork.cooling.surroundings import OUTSIDE, Stream

N_DRAW = 256


def core(n_draw: int) -> Core:
    """Return a core with drawn loss and conductance."""
    return Core(
        face_area=0.08, linear_loss=16.0, square_loss=3.0, mass_velocity=(1.0, 10.0),
        conductance=(2500.0, 9000.0), loss_scale=relative_draws(1.0, 0.15, n_draw, 1),
        conductance_scale=relative_draws(1.0, 0.15, n_draw, 2),
    )  # fmt: skip


def net_of_40(n_draw: int) -> AirNet:
    """Return 40 edges: five ducts of inlet, duct, core, leak and exit, joined by plenums."""
    parts: list[Element] = []
    for k in range(5):
        a, b, c, d = (f"{x}{k}" for x in "abcd")
        area = relative_draws(0.03 + 0.004 * k, 0.06, n_draw, 10 + k)
        parts += [
            Inlet(name=f"in {k}", end=a, area=area, recovery=0.9 - 0.05 * k),
            Duct(name=f"duct {k}", start=a, end=b, area=0.05, loss=0.4, length=0.6),
            Cooler(name=f"core {k}", start=b, end=c, core=core(n_draw)),
            Leak(name=f"round {k}", start=b, end=c, area=0.002),
            Duct(name=f"rear {k}", start=c, end=d, area=0.05, loss=0.3),
            Exit(name=f"out {k}", start=d, net_area=area * 0.9, pressure=-0.1 - 0.05 * k),
            Leak(name=f"leak {k}", start=a, end=OUTSIDE, area=0.001),
            Leak(name=f"next {k}", start=d, end=f"d{(k + 1) % 5}", area=0.01),
        ]
    return AirNet(elements=tuple(parts))


HEATS = {f"core {k}": 12e3 for k in range(5)}
AROUND = Surroundings(speed=45.0, temperature=303.15)


def general_root(net: AirNet, draw: int) -> np.ndarray:
    """Solve one draw of the cold net by a general root finder on the node pressures."""
    edges = tuple((p.start, p.end) for p in net.elements)
    top = topology(edges, OUTSIDE)
    flow = np.full(N_DRAW, 0.5)
    air = np.full(N_DRAW, 303.15)
    laws = stacked_laws(
        [p.law(Stream(flow=flow, inlet=air, outlet=air, around=AROUND)) for p in net.elements],
        N_DRAW,
    )[draw]
    a, b, source, slow = laws[0], laws[1], laws[4], laws[5]
    n_edge = len(edges)

    def residual(x: np.ndarray) -> np.ndarray:
        m, padded = x[:n_edge], np.append(x[n_edge:] * 1e3, 0.0)  # [kg/s], [kPa] to [Pa]
        drop = padded[top.start] - padded[top.end] + source
        balance = np.zeros(len(padded))
        np.add.at(balance, top.start, -m)
        np.add.at(balance, top.end, m)
        law = a * m + b * m * np.sqrt(m * m + slow * slow)
        return np.concatenate([(drop - law) * 1e-3, balance[:-1]])

    guess = np.concatenate([
        np.full(n_edge, 0.1), np.full(len(top.nodes), 0.3e-3 * float(np.mean(AROUND.head)))
    ])  # fmt: skip
    answer = root(residual, guess, method="hybr", options={"xtol": 1e-10, "maxfev": 20_000})
    assert answer.success, answer.message
    return np.asarray(answer.x[n_edge:] * 1e3)


def test_net_of_40_edges_all_draws(benchmark: Any) -> None:
    net = net_of_40(N_DRAW)
    assert len(net.elements) == 40
    air = benchmark(solve_air, net, AROUND, HEATS)
    assert air.flow.shape == (40, N_DRAW)


def test_ratio_to_a_general_root_finder_in_the_same_run(
    record_property: Callable[[str, float], None],
) -> None:
    net = net_of_40(N_DRAW)
    solve_air(net, AROUND)
    begin = time.perf_counter()
    air = solve_air(net, AROUND)
    ours = (time.perf_counter() - begin) / N_DRAW
    begin = time.perf_counter()
    for draw in range(4):
        pressures = general_root(net, draw)
        theirs = air.pressure[:, draw]
        # the root finder's laws are frozen at one guess of the flow: same net to 3 %
        np.testing.assert_allclose(pressures, theirs, atol=0.03 * float(np.abs(theirs).max()))
    general = (time.perf_counter() - begin) / 4
    ratio = general / ours
    record_property("ratio", ratio)
    assert ratio >= 20.0, f"{ratio:.0f} times, {ours * 1e3:.2f} ms a draw"


def test_blanking_chart_of_20_by_6(benchmark: Any) -> None:
    air = AirNet(elements=(
        Inlet(name="in", end="a", area=0.09),
        Cooler(name="core", start="a", end="b", core=replace(core(N_DRAW), face_area=0.28)),
        Exit(name="out", start="b", net_area=relative_draws(0.07, 0.06, N_DRAW, 3)),
    ))  # fmt: skip
    system = CoolingSystem(air=air, loops=(simple_loop("water", ("core",), heat=70e3, flow=2.0),))
    chart = benchmark.pedantic(
        blanking_chart,
        args=(system, Surroundings(speed=43.0), Target(loop="water", limit=383.15), ("core",)),
        kwargs={"ambients": np.linspace(275.0, 313.0, 20), "blankings": np.linspace(0.0, 0.5, 6)},
        rounds=1,
    )
    assert chart.temperature.shape == (20, 6)
