"""What every solved net promises: conservation, reverse flow found, faults named."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tuftwork.cooling import (
    AirNet,
    Cooler,
    Core,
    Duct,
    Exit,
    Fan,
    Feed,
    Inlet,
    Leak,
    Surroundings,
    solve_air,
    stream_drag,
)
from tuftwork.cooling.cost import fed_share
from tuftwork.cooling.element import Element
from tuftwork.cooling.network import AirFlow
from tuftwork.cooling.surface import CP_AIR
from tuftwork.cooling.surroundings import OUTSIDE
from tuftwork.errors import InputError, UnknownName

N_DRAW = 3


def core(area: float = 0.2) -> Core:
    """Return a plain core."""
    return Core(face_area=area, linear_loss=16.0, square_loss=3.0, mass_velocity=(1.0, 10.0),
                conductance=(2500.0, 9000.0))  # fmt: skip


def random_net(seed: int, n_node: int, n_edge: int, *, is_fan: bool) -> AirNet:
    """Return a connected random net with openings, coolers, ducts, leaks and perhaps a fan."""
    rng = np.random.default_rng(seed)
    nodes = [f"n{k}" for k in range(n_node)]
    parts: list[Element] = [
        Inlet(name="in", end="n0", area=float(rng.uniform(0.02, 0.2)), loss=0.3,
              recovery=float(rng.uniform(0.4, 1.0))),
        Exit(name="out", start=nodes[-1], net_area=float(rng.uniform(0.02, 0.2)),
             pressure=float(rng.uniform(-0.6, 0.2))),
    ]  # fmt: skip
    for k in range(n_node - 1):  # a spine, so that everything is reached
        parts.append(Duct(name=f"spine {k}", start=nodes[k], end=nodes[k + 1],
                          area=float(rng.uniform(0.01, 0.2)), loss=1.0, length=0.5))  # fmt: skip
    for k in range(n_edge):
        i, j = rng.choice(n_node, 2, replace=False)
        name, start, end = f"edge {k}", nodes[i], nodes[j]
        kind = rng.integers(4)
        if kind == 0:
            parts.append(Cooler(name=name, start=start, end=end, core=core()))
        elif kind == 1:
            parts.append(Leak(name=name, start=start, end=end, area=float(rng.uniform(1e-4, 0.05))))
        elif kind == 2:
            parts.append(Leak(name=name, start=start, end=OUTSIDE, area=0.01,
                              pressure=float(rng.uniform(-0.5, 0.5))))  # fmt: skip
        else:
            parts.append(Duct(name=name, start=start, end=end, area=0.03, length=1.0))
    if is_fan:
        parts.append(Fan(name="fan", start=nodes[0], end=nodes[-1],
                         volume_flow=(0.0, 0.3, 0.6), rise=(300.0, 200.0, 0.0)))  # fmt: skip
    return AirNet(elements=tuple(parts))


def imbalance(net: AirNet, air: AirFlow) -> tuple[float, float]:
    """Return the worst mass and energy imbalance over nodes, relative to what passes."""
    mass = np.zeros((len(air.nodes), air.flow.shape[1]))
    energy, through = np.zeros_like(mass), np.zeros_like(mass)
    for e, part in enumerate(net.elements):
        m = air.flow[e]
        forward = m >= 0
        for node, sign in ((part.start, -1.0), (part.end, 1.0)):
            if node == OUTSIDE:
                continue
            n = air.nodes.index(node)
            mass[n] += sign * m
            enters = forward if sign > 0 else ~forward
            carried = np.where(enters, air.inlet[e] * np.abs(m) + air.heat[e] / CP_AIR,
                               -air.temperature[n] * np.abs(m))  # fmt: skip
            energy[n] += carried
            through[n] += np.abs(m)
    worst = through.max()
    hot = float(air.temperature.max())
    return float(np.abs(mass).max() / worst), float(np.abs(energy).max() / (worst * hot))


@settings(max_examples=25, deadline=None, derandomize=True)
@given(seed=st.integers(0, 10_000), n_node=st.integers(2, 9), n_edge=st.integers(0, 14),
       is_fan=st.booleans())  # fmt: skip
def test_mass_and_energy_are_conserved_in_every_net(
    seed: int, n_node: int, n_edge: int, is_fan: bool
) -> None:
    net = random_net(seed, n_node, n_edge, is_fan=is_fan)
    speed = np.array([15.0, 40.0, 70.0])
    spine = solve_air(net, Surroundings(speed=speed)).of("spine 0")
    heat = 5000.0 * np.abs(spine)  # about 5 K, so that no net is throttled by its own heat
    air = solve_air(net, Surroundings(speed=speed), {"spine 0": heat})
    mass, energy = imbalance(net, air)
    assert mass < 1e-9
    assert energy < 1e-9
    outward = np.zeros(N_DRAW)
    for e, part in enumerate(net.elements):
        for node, sign in ((part.start, -1.0), (part.end, 1.0)):
            if node == OUTSIDE:
                m = sign * air.flow[e]
                t = air.inlet[e] + np.where(m > 0, air.heat[e] / (np.maximum(m, 1e-12) * CP_AIR), 0)
                outward += m * CP_AIR * np.where(m > 0, t, 288.15)
    given_heat = air.heat.sum(axis=0)
    whole = np.abs(air.flow).sum(axis=0).max() * CP_AIR * 288.15
    assert float(np.abs(outward - given_heat).max()) < 1e-9 * whole


def test_momentum_and_loss_form_of_drag_agree_in_a_branched_net() -> None:
    net = random_net(7, 6, 8, is_fan=False)
    air = solve_air(net, Surroundings(speed=np.array([30.0, 50.0])))
    drag = stream_drag(net, air, "out")
    np.testing.assert_allclose(drag.loss_drag, drag.momentum_drag, rtol=1e-9)
    assert np.all(drag.momentum_drag <= drag.ram_drag + 1e-9)


def test_finds_reverse_flow_through_a_drawn_exit() -> None:
    net = AirNet(elements=(
        Inlet(name="in", end="a", area=0.02, recovery=0.3),
        Exit(name="cowl vent", start="a", net_area=0.05, pressure=0.6),
        Exit(name="out", start="a", net_area=0.10, pressure=-0.4),
    ))  # fmt: skip
    air = solve_air(net, Surroundings(speed=40.0))
    assert air.reversed_parts == ("cowl vent",)
    assert float(air.of("cowl vent")[0]) < 0.0


def test_draws_in_one_call_equal_draws_one_by_one() -> None:
    area = np.array([0.03, 0.06, 0.12])

    def net(value: float | np.ndarray) -> AirNet:
        return AirNet(elements=(
            Inlet(name="in", end="a", area=0.08),
            Cooler(name="core", start="a", end="b", core=core()),
            Exit(name="out", start="b", net_area=value),
        ))  # fmt: skip

    around = Surroundings(speed=45.0)
    together = solve_air(net(area), around, {"core": 40e3}).of("core")
    single = [solve_air(net(float(a)), around, {"core": 40e3}).of("core")[0] for a in area]
    np.testing.assert_allclose(together, single, rtol=1e-8)


def test_a_fan_moves_air_at_standstill() -> None:
    net = AirNet(elements=(
        Inlet(name="in", end="a", area=0.08),
        Cooler(name="core", start="a", end="b", core=core()),
        Fan(name="fan", start="b", end="c", volume_flow=(0.0, 0.4, 0.8), rise=(250.0, 180.0, 0.0)),
        Exit(name="out", start="c", net_area=0.08),
    ))  # fmt: skip
    still = solve_air(net, Surroundings(speed=0.0))
    assert 0.05 < float(still.of("fan")[0]) < 0.8 * 1.3
    assert float(solve_air(net, Surroundings(speed=60.0)).of("fan")[0]) > float(still.of("fan")[0])


def test_heat_lowers_the_flow_of_a_duct() -> None:
    net = AirNet(elements=(
        Inlet(name="in", end="a", area=0.08),
        Cooler(name="core", start="a", end="b", core=core()),
        Exit(name="out", start="b", net_area=0.05),
    ))  # fmt: skip
    around = Surroundings(speed=45.0)
    cold, hot = (solve_air(net, around, {"core": q}).of("core")[0] for q in (0.0, 80e3))
    assert hot < cold


@pytest.mark.parametrize(
    ("parts", "message"),
    [
        ((Inlet(name="in", end="a", area=0.1),), "air cannot pass"),
        ((Inlet(name="in", end="a", area=0.1), Exit(name="out", start="b", net_area=0.1)),
         "node a leads nowhere"),
        ((Inlet(name="in", end="a", area=0.1), Exit(name="out", start="a", net_area=0.1),
          Duct(name="x", start="p", end="q", area=0.1),
          Duct(name="y", start="q", end="p", area=0.1)),
         "node p is not connected to the outside"),
        ((Inlet(name="in", end="a", area=0.1), Exit(name="out", start="a", net_area=0.1),
          Duct(name="x", start="a", end="a", area=0.1)), "starts and ends at a"),
    ],
)  # fmt: skip
def test_names_what_makes_a_net_impossible(parts: tuple[Element, ...], message: str) -> None:
    with pytest.raises(InputError, match=message):
        AirNet(elements=parts)


def test_refuses_two_names_alike() -> None:
    part = Inlet(name="in", end="a", area=0.1)
    with pytest.raises(InputError, match="names must differ"):
        AirNet(elements=(part, part))


def test_refuses_an_opening_without_area() -> None:
    with pytest.raises(InputError, match=r"nose: area = 0 m²: must be above 0\. An opening needs"):
        Inlet(name="nose", end="a", area=0.0)


def test_refuses_heat_for_a_part_that_is_not_there() -> None:
    net = AirNet(elements=(
        Inlet(name="in", end="a", area=0.1), Exit(name="out", start="a", net_area=0.1),
    ))  # fmt: skip
    with pytest.raises(UnknownName, match="Known: in, out"):
        solve_air(net, Surroundings(speed=30.0), {"radiator": 1e3})


def test_a_fan_curve_must_fall() -> None:
    with pytest.raises(InputError, match="must fall as the flow rises"):
        Fan(name="fan", start="a", end="b", volume_flow=(0.0, 0.2, 0.4), rise=(100.0, 150.0, 0.0))


@pytest.mark.parametrize(
    ("field", "value", "cure"),
    [("temperature", 28.0, "Add 273.15"), ("pressure", 101.3, "Multiply kPa"),
     ("pressure", 1013.0, "Multiply mbar"), ("speed", 160.0, "Divide km/h")],
)  # fmt: skip
def test_offers_the_likely_unit_slip(field: str, value: float, cure: str) -> None:
    given_values = {"speed": 40.0, field: value}
    with pytest.raises(InputError, match=cure):
        Surroundings(**given_values)


class TestFed:
    """Air pushed into a node from outside the net: given flow, whatever the pressure."""

    AROUND = Surroundings(speed=np.array([50.0]), temperature=293.15)

    def _net(self, fed: float) -> AirNet:
        return AirNet(elements=(
            Inlet(name="in", end="mouth", area=0.09, recovery=0.95),
            Cooler(name="core", start="mouth", end="well", core=core(0.3)),
            Exit(name="out", start="well", net_area=0.2, discharge=0.8, pressure=-0.2),
            Feed(name="fed", end="well", flow_area=fed),
        ))  # fmt: skip

    def test_it_passes_what_it_is_given(self) -> None:
        air = solve_air(self._net(0.04), self.AROUND)
        rho = float(np.asarray(self.AROUND.density))
        assert air.of("fed")[0] == pytest.approx(0.04 * 50.0 * rho, rel=1e-12)
        assert air.of("out")[0] == pytest.approx(air.of("fed")[0] + air.of("in")[0], rel=1e-9)
        assert air.of("fed", "loss")[0] == 0.0

    def test_nothing_fed_is_the_net_without_it(self) -> None:
        bare = AirNet(elements=self._net(0.0).elements[:-1])
        one, other = solve_air(self._net(0.0), self.AROUND), solve_air(bare, self.AROUND)
        assert one.of("core")[0] == pytest.approx(other.of("core")[0], rel=1e-9)

    def test_alone_in_a_box_it_leaves_by_the_law_of_an_orifice(self) -> None:
        net = AirNet(elements=(
            Feed(name="fed", end="box", flow_area=0.05),
            Exit(name="out", start="box", net_area=0.1, discharge=0.6, pressure=0.0),
        ))  # fmt: skip
        air = solve_air(net, self.AROUND)
        head = float(np.asarray(self.AROUND.head)[0])
        assert air.at("box")[0] / head == pytest.approx((0.05 / 0.06) ** 2, rel=1e-3)

    def test_it_takes_flow_off_a_cooler_that_shares_its_way_out(self) -> None:
        flows = [solve_air(self._net(q), self.AROUND).of("core")[0] for q in (0.0, 0.05, 0.1)]
        assert flows[0] > flows[1] > flows[2] > 0

    def test_its_drag_stands_elsewhere(self) -> None:
        net = self._net(0.05)
        air = solve_air(net, self.AROUND)
        share = fed_share(net, air)[air.nodes.index("well")][0]
        assert share == pytest.approx(air.of("fed")[0] / air.of("out")[0], rel=1e-9)
        drag = stream_drag(net, air, "out")
        wake = float(drag.wake_velocity[0])
        assert drag.momentum_drag[0] == pytest.approx(air.of("core")[0] * (50.0 - wake), rel=1e-9)
        assert drag.loss_drag[0] == pytest.approx(drag.momentum_drag[0], rel=1e-6)

    def test_a_node_that_only_it_reaches_is_refused(self) -> None:
        with pytest.raises(InputError, match="not connected"):
            AirNet(elements=(
                *self._net(0.0).elements, Feed(name="lost", end="a", flow_area=0.1),
                Duct(name="to nowhere", start="a", end="b", area=0.1),
                Duct(name="and back", start="b", end="a", area=0.1),
            ))  # fmt: skip
