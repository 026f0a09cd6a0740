"""What does the roof in front of a wing do to it: slower air, coming down, in the middle?"""

import numpy as np

from tuftwork.section import Condition, naca, single
from tuftwork.wing import (
    Onset,
    Wing,
    pair_of_plates,
    section_table,
    solve_wing,
    straight_wing,
    wing_system,
)

table = section_table(
    single(naca("4412")),
    Condition(reynolds=8e5),
    alphas=np.deg2rad(np.arange(-6.0, 17.0, 2.0)),
    n_panel=100,
)
wing = Wing(surfaces=(straight_wing(1.70, 0.30, 1.10),), plates=(pair_of_plates(0.08, 0.16),))
system = wing_system(wing)
roof = Onset(
    y=np.array([-0.85, -0.5, 0.5, 0.85]),
    angle=np.deg2rad(np.array([0.0, 4.0, 4.0, 0.0])),  # coming down: more incidence
    speed=np.array([1.0, 0.87, 0.87, 1.0]),
)
free = solve_wing(system, {"section": table}, incidence=np.deg2rad(8.0))
behind = solve_wing(system, {"section": table}, incidence=np.deg2rad(8.0), onset=roof)
print(f"free stream {free.downforce_area:.3f} m^2, behind the roof {behind.downforce_area:.3f} m^2")
margins = [np.rad2deg(result.margin.min()) for result in (free, behind)]
print(f"margin to the stall {margins[0]:.1f} and {margins[1]:.1f} degrees")
print(f"taken: {100 * (1 - behind.downforce_area / free.downforce_area):.0f} %")
