"""Why does it overheat? A coupe whose front cooler leaves through slots into the wheel wells.

The car is invented. Its known inputs: core 0.62 m x 0.48 m with a pressure loss of 18 V + 3.2 V²,
102 kW of water heat, two charge coolers with 0.383 kg/s of air at 132 °C, a lap mean of
153.8 km/h, 28 °C, and a net slot area of 0.056 m² ± 6 % read from a photo. Everything else is a
stated assumption with a range: the defaults of inlet kind and exit place, and the core's air side
from its fin geometry. Nothing here says what the answer should be.
"""

from dataclasses import replace

import numpy as np

from tuftwork.cooling import (
    AirNet,
    Band,
    Cooler,
    CoolingSystem,
    Exit,
    HotStream,
    Inlet,
    Leak,
    LouvredSurface,
    Surroundings,
    Target,
    TubeBank,
    WheelWell,
    compare_exits,
    core_from_surface,
    find_restriction,
    liquid_side_conductance,
    moved,
    relative_draws,
    simple_loop,
    solve_cooling,
)
from tuftwork.cooling.opening import discharge_band, pressure_band, recovery_band

N_DRAW = 256
WATER_FLOW = 2.2  # [kg/s]  assumed: a common pump at race speed
ARCH_GAP = 0.25  # [m²]  assumed: both arches around the tyres, open to the side
UNDER_GAP = 0.10  # [m²]  assumed: both wells open to the underside
WELL_PLAN = 0.36  # [m²]  assumed: plan area of both wells less the tyres
AROUND = Surroundings(speed=153.8 / 3.6, temperature=273.15 + 28.0)
TARGET = Target(loop="water", limit=273.15 + 110.0, probability=0.1)
BONNET = {"bonnet": Band(low=-0.42, best=-0.35, high=-0.28, note="photo and class practice")}


def fins() -> LouvredSurface:
    """Return a common louvred fin, 32 mm deep."""
    return LouvredSurface(
        louvre_angle=float(np.radians(27.0)), louvre_pitch=1.2e-3, louvre_length=6.8e-3,
        fin_pitch=1.4e-3, fin_length=8.0e-3, fin_thickness=0.08e-3, tube_depth=32e-3,
        tube_pitch=10e-3, tube_height=2e-3,
    )  # fmt: skip


def halyard() -> CoolingSystem:
    """Return the car's cooling with 256 draws."""
    face = 0.62 * 0.48
    tubes = TubeBank(n_tube=48, width=0.031, height=0.0014, length=0.62)
    radiator = replace(
        core_from_surface(fins(), face),
        linear_loss=18.0,
        square_loss=3.2,
        loss_scale=relative_draws(1.0, 0.10, N_DRAW, 1),
        conductance_scale=relative_draws(1.0, 0.15, N_DRAW, 2),
        liquid_conductance=float(liquid_side_conductance(tubes, "water", WATER_FLOW, 368.15)),
        liquid_flow=WATER_FLOW,
    )
    charge = replace(core_from_surface(fins(), 2 * 0.26 * 0.24),
                     conductance_scale=relative_draws(1.0, 0.15, N_DRAW, 3))  # fmt: skip
    nose = recovery_band("leading-edge").draws(N_DRAW, 5)
    air = AirNet(elements=(
        Inlet(name="nose", end="mouth", area=0.09, kind="leading-edge", recovery=nose),
        Cooler(name="radiator", start="mouth", end="behind", core=radiator),
        Exit(name="slots", start="behind", end="wells", place="wheel-well",
             net_area=relative_draws(0.056, 0.06, N_DRAW, 6),
             discharge=discharge_band("wheel-well").draws(N_DRAW, 7)),
        Exit(name="arches", start="wells", net_area=ARCH_GAP, place="wheel-well", angle=0.0,
             pressure=pressure_band("wheel-well").draws(N_DRAW, 8), height=0.35),
        Leak(name="under", start="wells", end="outside", area=UNDER_GAP, pressure=-0.2),
        Inlet(name="corners", end="corner mouth", area=0.05, recovery=nose),
        Cooler(name="charge", start="corner mouth", end="corner back", core=charge),
        Exit(name="corner outlets", start="corner back", net_area=0.05, place="side",
             pressure=pressure_band("side").draws(N_DRAW, 9)),
    ))  # fmt: skip
    water = simple_loop(
        "water", ("radiator",), heat=relative_draws(102e3, 0.06, N_DRAW, 4), flow=WATER_FLOW
    )
    return CoolingSystem(
        air=air,
        loops=(water,),
        streams=(HotStream(cooler="charge", mass_flow=0.383, temperature=273.15 + 132.0),),
    )


def told(label: str, kelvin: np.ndarray) -> str:
    """Return a temperature with its 90 % range and the risk, in words."""
    low, half, high = np.quantile(kelvin, (0.05, 0.5, 0.95)) - 273.15
    risk = float(np.mean(kelvin > TARGET.limit))
    return f"{label}: water {half:.0f} °C ({low:.0f} to {high:.0f}), P(>110) = {risk:.2f}"


def main() -> float:
    """Print the finding and return the median water temperature with bonnet louvres [°C]."""
    car = halyard()
    now = solve_cooling(car, AROUND)
    print(told("as it is", now.hottest("water")))
    charge = float(np.median(now.stream_outlet["charge"])) - 273.15
    print(f"charge air leaves at {charge:.0f} °C, {np.median(now.heat['charge']) / 1e3:.0f} kW")
    found = find_restriction(car, AROUND, TARGET, places=("bonnet",), pressures=BONNET)
    print(found.sentence)
    louvres = moved(car, "slots", "bonnet", pressure=BONNET["bonnet"])
    part = louvres.air.part("slots")
    assert isinstance(part, Exit)
    elements = tuple(
        replace(part, net_area=relative_draws(0.066, 0.06, N_DRAW, 6), angle=0.6)
        if p.name == "slots" else p
        for p in louvres.air.elements
    )  # fmt: skip
    fixed = replace(louvres, air=AirNet(elements=elements))
    after = solve_cooling(fixed, AROUND).hottest("water")
    print(told("bonnet louvres of 0.066 m²", after))
    wells = (WheelWell(node="wells", plan_area=WELL_PLAN, x=-1.31),)
    for choice in compare_exits(
        car, AROUND, TARGET, "slots", ("bonnet", "underfloor"), wheelbase=2.62, wells=wells,
        pressures=BONNET, legality=lambda place, area: _vents(place, area),
    ):  # fmt: skip
        drag, front = (float(np.median(x)) * 100 for x in (choice.change.CxS, choice.change.CzSf))
        well = float(np.median(choice.change.parts["wheel well, wells"][1])) * 100
        print(f"{choice.place}: needs {choice.sized.needed:.3f} m², drag {drag:+.1f} points, "
              f"front {front:+.1f} points ({well:+.1f} by the wells' pressure), "
              f"{choice.legality}")  # fmt: skip
    print(found.notices[0])
    return float(np.median(after)) - 273.15


def _vents(place: str, area: float) -> str:
    """Return the invented class's vent rule in words."""
    if place != "bonnet":
        return "no clause"
    return "legal" if area <= 0.080 else "beyond 0.080 m² net"


if __name__ == "__main__":
    print(f"{main():.1f}")
