"""Oil to water: a cooler between two loops carries what it must, whichever loop comes first."""

from dataclasses import replace

import numpy as np
import pytest

from tuftwork.cooling import (
    AirNet,
    Cooler,
    CoolingSystem,
    Exit,
    Inlet,
    LouvredSurface,
    Surroundings,
    core_from_surface,
    liquid_state,
    simple_loop,
    solve_cooling,
)
from tuftwork.cooling.loop import Loop
from tuftwork.errors import InputError

AROUND = Surroundings(speed=45.0, temperature=301.15)
CONDUCTANCE = 900.0  # [W/K]
OIL_HEAT, WATER_HEAT = 18e3, 70e3  # [W]


def net() -> AirNet:
    fins = LouvredSurface(
        louvre_angle=0.4712, louvre_pitch=1.2e-3, louvre_length=6.8e-3, fin_pitch=1.4e-3,
        fin_length=8e-3, fin_thickness=0.08e-3, tube_depth=32e-3, tube_pitch=10e-3,
        tube_height=2e-3,
    )  # fmt: skip
    return AirNet(elements=(
        Inlet(name="nose", end="a", area=0.09),
        Cooler(name="radiator", start="a", end="b", core=core_from_surface(fins, 0.30)),
        Exit(name="out", start="b", net_area=0.08, place="bonnet"),
    ))  # fmt: skip


def water() -> Loop:
    return simple_loop("water", ("radiator",), heat=WATER_HEAT, flow=2.2,
                       plates={"oil cooler": CONDUCTANCE})  # fmt: skip


def oil() -> Loop:
    return simple_loop("oil", (), heat=OIL_HEAT, flow=0.6, fluid="engine oil",
                       plates={"oil cooler": CONDUCTANCE})  # fmt: skip


@pytest.mark.parametrize("loops", [(water(), oil()), (oil(), water())])
def test_the_radiator_sheds_both_heats(loops: tuple[Loop, Loop]) -> None:
    state = solve_cooling(CoolingSystem(air=net(), loops=loops), AROUND)
    assert float(state.heat["radiator"][0]) == pytest.approx(WATER_HEAT + OIL_HEAT, rel=1e-8)


def test_the_oil_s_inlet_follows_from_the_closed_form_of_a_counterflow_cooler() -> None:
    state = solve_cooling(CoolingSystem(air=net(), loops=(water(), oil())), AROUND)
    hot, cold = state.loops["oil"], state.loops["water"]
    k, j = hot.names.index("oil cooler"), cold.names.index("oil cooler")
    c_oil = 0.6 * float(liquid_state("engine oil", 363.15).specific_heat)
    c_water = 2.2 * float(liquid_state("water", 363.15).specific_heat)
    ntu, ratio = CONDUCTANCE / c_oil, c_oil / c_water
    eps = (1 - np.exp(-ntu * (1 - ratio))) / (1 - ratio * np.exp(-ntu * (1 - ratio)))
    between = float(hot.inlet[k][0] - cold.inlet[j][0])
    assert between == pytest.approx(OIL_HEAT / (eps * c_oil), rel=0.01)  # pump flows within 1 %
    assert float(hot.heat[k][0]) == pytest.approx(-float(cold.heat[j][0]), rel=1e-8)


def test_a_side_without_its_partner_is_refused() -> None:
    with pytest.raises(InputError, match="must be in two loops"):
        CoolingSystem(air=net(), loops=(water(),))
    other = simple_loop("oil", (), heat=OIL_HEAT, flow=0.6, plates={"oil cooler": 500.0})
    with pytest.raises(InputError, match="one in both loops"):
        CoolingSystem(air=net(), loops=(water(), other))


def test_draws_pass_through_it() -> None:
    heats = np.array([10e3, 18e3, 26e3])
    loop = replace(simple_loop("oil", (), heat=heats, flow=0.6, fluid="engine oil",
                               plates={"oil cooler": CONDUCTANCE}))  # fmt: skip
    state = solve_cooling(CoolingSystem(air=net(), loops=(water(), loop)), AROUND)
    assert np.all(np.diff(state.hottest("oil")) > 0)
    np.testing.assert_allclose(state.heat["radiator"], heats + WATER_HEAT, rtol=1e-8)
