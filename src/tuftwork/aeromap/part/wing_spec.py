"""From a wing of the project to the best values its tables are made at."""

from tuftwork.aeromap.part.wing_role import Role
from tuftwork.car import Wing, WingPart
from tuftwork.errors import InputError
from tuftwork.wing.spec import WingSpec

TABLE_SPEED = 50.0  # [m/s] whose Reynolds number the polars are made at
KINEMATIC = 1.5e-5  # [m²/s] of air, for that number; slope and friction are taken on from there


def spec_of(part: WingPart) -> WingSpec:
    """Return a wing's best values, as its tables are made at them."""
    assert part.section is not None
    section = part.section
    rows: list[tuple[str, ...]] = [(section.outline,)]
    for flap in section.flaps:
        numbers = (flap.chord, flap.deflection, flap.gap, flap.overlap)
        rows.append((flap.outline, *(f"{q.best:.6g}" for q in numbers)))
    chord = part.chord.best
    return WingSpec(
        span=part.span.best,
        chord=chord,
        height=part.height.best,
        incidence=part.incidence.best,
        gurney=part.gurney.best / chord if part.gurney is not None else 0.0,
        end_plate_height=part.end_plate_height.best if part.end_plate_height is not None else 0.0,
        reynolds=TABLE_SPEED * chord / KINEMATIC,
        turbulence=section.turbulence.best if section.turbulence is not None else 0.02,
        outline=tuple(rows),
        onset=_onset_of(part),
    )


def _onset_of(part: WingPart) -> tuple[tuple[float, float], ...]:
    """Return the roof's effect along the span; the beam wing and what is ahead have none."""
    if not isinstance(part, Wing) or not part.onset:
        return ()
    rows = sorted((row.y.best, row.share.best) for row in part.onset)
    places = [y for y, _ in rows]
    if len(set(places)) != len(places):
        raise InputError(
            f"{part.name}.onset", "two rows at one place", "", "must differ in 'y'",
            "One row a place, from the middle outward; both sides are alike.",
        )  # fmt: skip
    return tuple(rows)


def refuse_idle(part: WingPart, role: Role) -> None:
    """Refuse keys that change nothing on a wing with a section.

    Raises
    ------
    InputError
        Naming the key.
    """
    assert part.section is not None
    for key in ("camber", "thickness"):
        value = getattr(part, key)
        if value is not None:
            raise InputError(
                f"{part.name}.{key}", value.best, "", "changes nothing beside a section",
                "The outline has it; remove the key.",
            )  # fmt: skip
    if role != "rear wing" and isinstance(part, Wing) and part.onset:
        raise InputError(
            f"{part.name}.onset", "given", "", "changes nothing on a wing ahead of the roof",
            "Remove it.",
        )  # fmt: skip
    count = 1 + len(part.section.flaps)
    if part.elements not in (1, count):
        raise InputError(
            f"{part.name}.elements", part.elements, "", f"its section has {count}",
            "Remove the key: the section says it.",
        )  # fmt: skip
