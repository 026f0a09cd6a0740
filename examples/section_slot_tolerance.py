"""What does a millimetre in a slot cost? A two-element section over the road, built by hand."""

import numpy as np

from tuftwork.section import Condition, Design, Flap, naca, tolerance_table

CHORD_MM = 300.0

flap = Flap(contour=naca("4412"), chord=0.40, deflection=np.deg2rad(22.0), gap=0.015)
design = Design(main=naca("4412"), flaps=(flap,), incidence=np.deg2rad(3.0), height=0.5)
errors = [
    ("gap", 0, 1.0 / CHORD_MM),
    ("overlap", 0, 1.0 / CHORD_MM),
    ("deflection", 0, np.deg2rad(1.0)),
]
rows = tolerance_table(design, Condition(reynolds=1e6), errors, n_panel=90)
for row in rows:
    shown = (
        f"{np.rad2deg(row.error):.1f} deg"
        if row.handle == "deflection"
        else f"{row.error * CHORD_MM:.1f} mm"
    )
    print(f"{row.handle:>10} off by {shown}: downforce coefficient {row.lift_cost:+.3f}")
print(f"worst: {min(r.lift_cost for r in rows):+.3f}")
