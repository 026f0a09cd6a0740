"""The numbers a lap depends on, in one order, so that every one of them has a derivative."""

from typing import Final

PARAMETERS: Final[tuple[tuple[str, str], ...]] = (
    ("mass", "kg"),
    ("weight_front", "-"),
    ("cg_height", "m"),
    ("wheelbase", "m"),
    ("track_front", "m"),
    ("track_rear", "m"),
    ("roll_share_front", "-"),
    ("grip_front", "-"),
    ("grip_rear", "-"),
    ("load_loss_front", "1/N"),
    ("load_loss_rear", "1/N"),
    ("wheel_load_front", "N"),
    ("wheel_load_rear", "N"),
    ("longitudinal_ratio", "-"),
    ("power_scale", "-"),
    ("driveline_efficiency", "-"),
    ("rolling_resistance", "-"),
    ("rotating_inertia", "-"),
    ("brake_share_front", "-"),
    ("brake_force", "N"),
    ("drive_share_front", "-"),
    ("margin_front", "-"),
    ("margin_rear", "-"),
    ("ride_height_front", "m"),
    ("ride_height_rear", "m"),
    ("axle_rate_front", "N/m"),
    ("axle_rate_rear", "N/m"),
    ("anti_dive", "-"),
    ("anti_lift", "-"),
    ("anti_squat", "-"),
    ("bump_travel_front", "m"),
    ("bump_rate_front", "N/m"),
    ("bump_travel_rear", "m"),
    ("bump_rate_rear", "N/m"),
    ("roll_gradient", "rad s^2/m"),
    ("roll_loss_front", "1/rad^2"),
    ("roll_loss_rear", "1/rad^2"),
    ("density", "kg/m^3"),
    ("downforce_added_front", "m^2"),
    ("downforce_added_rear", "m^2"),
    ("drag_added", "m^2"),
    ("downforce_scale_front", "-"),
    ("downforce_scale_rear", "-"),
    ("drag_scale", "-"),
    ("gravity", "m/s^2"),
    ("tyre_growth_front", "s^2/m"),
    ("tyre_growth_rear", "s^2/m"),
    ("second_travel_front", "m"),
    ("second_rate_front", "N/m"),
    ("second_travel_rear", "m"),
    ("second_rate_rear", "N/m"),
)
"""Name and unit of every parameter, in the order the kernels use."""

NAMES: Final[tuple[str, ...]] = tuple(name for name, _ in PARAMETERS)
UNIT: Final[dict[str, str]] = dict(PARAMETERS)
INDEX: Final[dict[str, int]] = {name: i for i, name in enumerate(NAMES)}
N_PARAMETER: Final = len(PARAMETERS)
