"""How large must the front brake duct be? A coupe's lap of six stops, disc of 9.5 kg.

The car, its stops and its disc are invented. Prints the surface's peak without and with a duct
through a hollow rail, the windows of disc, pad and fluid, and ends in the peak with the duct.
"""

import numpy as np

from tuftwork.cooling import (
    BrakeDuct,
    BrakingCar,
    Caliper,
    Disc,
    Inlet,
    Member,
    Stop,
    Surroundings,
    brake_duct_flow,
    brake_verdicts,
    disc_temperature,
    fluid_temperature,
    lap_energy,
    lap_trace,
    member_duct,
    needed_duct,
    relative_draws,
)

N_DRAW = 64
AMBIENT = 273.15 + 28.0
CAR = BrakingCar(mass=1285.0, grip=1.4, downforce_area=1.5, drag_area=0.9, density=1.17)
STOPS = tuple(
    Stop(fast=fast, slow=slow)
    for fast, slow in ((64.0, 25.0), (60.0, 30.0), (55.0, 22.0), (58.0, 35.0), (52.0, 28.0))
)
LAP_TIME = 97.4  # [s]


def main() -> float:
    """Print the answers and return the median peak with the duct [°C]."""
    disc = Disc(mass=9.5, diameter=0.355, inner_diameter=0.22, vane_area=0.20,
                convection_scale=relative_draws(1.0, 0.3, N_DRAW, 1))  # fmt: skip
    mean = float(np.asarray(lap_energy(CAR, STOPS, LAP_TIME).front_disc))
    need = needed_duct(mean, 200.0, 42.7)
    area = float(np.asarray(need.area)) * 1e4
    print(f"one front disc: {mean / 1e3:.0f} kW; by hand {area:.0f} cm² of duct for 200 K of air")
    rail = Member(width=0.08, height=0.08, length=1.1, bends=(0.8,))
    duct = BrakeDuct(
        inlet=Inlet(name="mouth", end="mouth", area=0.007, kind="leading-edge"),
        ducts=(member_duct(rail, "rail", "mouth", "eye"),),
        outlet_area=0.007,
    )
    flow = float(brake_duct_flow(duct, Surroundings(speed=42.7, temperature=AMBIENT))[0])
    trace = lap_trace(CAR, STOPS, LAP_TIME)
    peak = 0.0
    for label, air in (("no duct", 0.0), (f"duct, {flow:.2f} kg/s", flow)):
        history = disc_temperature(disc, trace, AMBIENT, duct_flow=air)
        low, peak, high = np.quantile(history.peak_surface, (0.1, 0.5, 0.9)) - 273.15
        print(f"{label}: surface peaks at {peak:.0f} °C ({low:.0f} to {high:.0f})")
        fluid = fluid_temperature(history, AMBIENT, Caliper())
        for verdict in brake_verdicts(history, fluid):
            print(f"  {verdict.window.part}: {verdict.verdict}")
    print(history.notices[0])
    return float(peak)


if __name__ == "__main__":
    print(f"{main():.0f}")
