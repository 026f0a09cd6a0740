"""More wing first, or the rear up first? The demo car on its circuit, with the number that decides.

Everything here is invented. Settings are proposals: closed course, small steps, the driver may
refuse.
"""

from tuftwork.lap import Package, compare_packages
from tuftwork.lap.demo import brackenholt, halyard, halyard_aero

packages = [
    Package(name="as run", vehicle=halyard(), aero=halyard_aero(8.0)),
    Package(name="wing to 12", vehicle=halyard(), aero=halyard_aero(12.0)),
    Package(
        name="rear +11 mm",
        vehicle=halyard(ride_height_rear=0.082),
        aero=halyard_aero(8.0),
    ),
    Package(
        name="rear +13, front -5, wing 11",
        vehicle=halyard(ride_height_front=0.053, ride_height_rear=0.084),
        aero=halyard_aero(11.0),
    ),
]

results = compare_packages([brackenholt()], packages)
for r in results:
    print(
        f"{r.package:30s} {r.lap_time:7.2f} s  {r.worth.best:+.2f} s"
        f"  top {3.6 * r.top_speed:.0f} km/h  {r.worth.verdict}"
    )
gain = results[1].worth.best - results[3].worth.best
print(f"raising the rear first, then wing, beats more wing alone by {gain:.2f} s a lap")
