"""Ways in which parts touch a splitter whose channels are solved; effects add."""

FRONT_CHANNELS: dict[str, str] = {
    "front_pressure": "Cp where the middle of a splitter hands over to the floor [-]",
    "arch_pressure": "Cp in the front arches where a splitter's ramps end [-]",
    "well_share": "share of a ramp's air that goes through the wheel well [-]",
    "nose_flow": "air taken in above the plate, flow over car speed [m²]",
}
"""Name → meaning and unit."""


def angle_at(part: str) -> str:
    """Return the channel of the onset angle a splitter makes at a part [rad], down positive."""
    return f"angle at {part}"


def way_of(node: str) -> tuple[str, str, str]:
    """Return the channels of a node of the air net that a splitter's air leaves by.

    Its pressure coefficient [-], the flow that already leaves it over car speed [m²], and the open
    area of its ways out [m²].
    """
    return f"pressure of {node}", f"flow of {node}", f"outlet of {node}"
