"""What does a cooler in a closed nose pass, and what does it cost? Flow and cooling net in turn.

The shape, an invented block on a road with a mouth in its face and a vent in its back, is coarse
so that it runs in a minute; the radiator inside is the cooling net's. Prints how flow and net come
to agree, the closed form at the same pressures, and the drag with the openings and without.
"""

from dataclasses import replace

from tuftwork.cooling import AirNet, Cooler, Core, Exit, Inlet, Surroundings
from tuftwork.cooling.single_duct import SingleDuct, single_duct_flow
from tuftwork.flow import Box, FlowCase, FlowPart, NetTie, Opening, StopRule, prepare, run
from tuftwork.shape import block

SPEED = 30.0  # [m/s]
AREA = 0.04  # [m²]
LOSS = 8.0  # K of the core
RULE = StopRule(error=1e-9, settle=2.0, longest=6.0)


def the_case() -> FlowCase:
    """Return the block with its openings, tied to the net."""
    mesh = block("nose", (0.0, -0.15, 0.15), (0.6, 0.15, 0.45))
    square = LOSS * 0.5 * 1.1644
    core = Core(face_area=AREA, linear_loss=0.0, square_loss=square, mass_velocity=(1.0, 10.0),
                conductance=(10.0, 100.0))  # fmt: skip
    net = AirNet(elements=(
        Inlet(name="mouth", end="ahead", area=AREA),
        Cooler(name="radiator", start="ahead", end="behind", core=core),
        Exit(name="vent", start="behind", net_area=AREA, discharge=1.0),
    ))  # fmt: skip
    faces = (("mouth", "inlet", 0.0, -1.0), ("vent", "outlet", 0.6, 1.0))
    openings = tuple(
        Opening(name=name, part="nose", kind="inlet" if kind == "inlet" else "outlet",
                low=(x - 0.01, -0.1, 0.2), high=(x + 0.01, 0.1, 0.4), facing=(way, 0.0, 0.0),
                mass_flow=0.3)
        for name, kind, x, way in faces
    )  # fmt: skip
    return FlowCase(
        parts=(FlowPart(name="nose", vertices=mesh.vertices, faces=mesh.faces),), speed=SPEED,
        cell=0.05, box=Box(ahead=0.5, behind=0.7, beside=0.5, above=0.5), openings=openings,
        tie=NetTie(net=net, around=Surroundings(speed=SPEED)),
    )  # fmt: skip


def main() -> float:
    """Print the answers and return the mass flow [kg/s]."""
    case = the_case()
    found = run(prepare(case), rule=RULE)
    mouth, vent = found.openings
    cp = f"{vent.pressure:.2f}".replace("-", "\u2212")
    print(f"mouth: total pressure {mouth.total:.2f} of the head; vent: Cp {cp}")
    print(f"flow {mouth.mass_flow:.3f} kg/s in, {vent.mass_flow:.3f} kg/s out; "
          f"the net says {mouth.net_flow:.3f} kg/s")  # fmt: skip
    rho = float(Surroundings(speed=SPEED).density)
    closed = single_duct_flow(
        SingleDuct(speed=SPEED, density=rho, recovery=min(mouth.total, 1.02),
                   exit_pressure=vent.pressure, core_loss=LOSS * rho / 1.1644, core_area=AREA,
                   exit_area=AREA)
    )  # fmt: skip
    print(f"closed form at these pressures: {closed.mass_flow:.3f} kg/s")
    shut = run(prepare(replace(case, openings=(), tie=None)), rule=RULE)
    open_drag, shut_drag = found.drag_area.mean, shut.drag_area.mean
    print(f"CxS {open_drag:.3f} m² with its openings, {shut_drag:.3f} m² shut")
    for doubt in found.doubts:
        print(doubt.text)
    print(f"the radiator passes {mouth.mass_flow:.3f} kg/s")
    return mouth.mass_flow


if __name__ == "__main__":
    main()
