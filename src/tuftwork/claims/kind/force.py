"""A force at a speed: F = ½ ρ V² S, for the car, an axle or a part."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import hypot

from tuftwork.car import ForceClaim, Part, WingPart
from tuftwork.claims.belief import At, Equation, Statement
from tuftwork.claims.case import Case, Expectation, Reading, held_against
from tuftwork.claims.convert import top_speed
from tuftwork.claims.finding import BoundCheck, Figure
from tuftwork.claims.frame import Frame, part_area, part_bound, product, ranged, relative_sd
from tuftwork.claims.table import bands, bound
from tuftwork.claims.word import plain
from tuftwork.quantity import Quantity

_POUND = 0.45359237  # [-]  international pound over kilogram, both as forces
_MILE = 1.609344  # [-]  mile over kilometre
_NEWTON = 9.80665  # [-]  kilogram-force over newton

_HOPE = 1.25  # [-]  hoped for over true; common practice, no source
_HOPE_SD = 0.15  # [-]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Carrier:
    """What carries the force: its area as a function of the unknowns."""

    label: str
    predict: Callable[[At], float]
    uses: tuple[str, ...]


def force_case(claim: ForceClaim, frame: Frame) -> Case:
    """Return a claimed force as equations."""
    force, speed = ranged(claim.force, "force"), ranged(claim.speed, "speed")
    carrier = _carrier(claim, frame, speed.best)
    implied, checks = _alone(claim, frame, force, speed)
    return Case(
        statement=_statement(claim, frame, force, speed, carrier),
        expectations=_expectations(claim, speed, carrier),
        equation="S = F / (½ ρ V²)",
        working=_working(claim, frame, force, speed, implied, checks),
        implied=implied,
        bounds=checks,
        readings=tuple(_readings(claim, frame, force, speed)),
        question=_question(claim),
    )


def _expectations(claim: ForceClaim, speed: Quantity, carrier: _Carrier) -> tuple[Expectation, ...]:
    """Return the area, and the force in the claim's own unit, to be predicted from evidence."""
    square = 0.5 * speed.best**2

    def force(at: At) -> float:
        return square * at("air") * carrier.predict(at)

    shown = plain(speed.best, "speed", speed.unit)
    return (
        Expectation(label=carrier.label, predict=carrier.predict, uses=carrier.uses,
                    dimension="area", unit="m²"),
        Expectation(label=f"{claim.direction} at {shown}", predict=force,
                    uses=("air", *carrier.uses), dimension="force", unit=claim.force.unit),
    )  # fmt: skip


def _symbol(claim: ForceClaim) -> str:
    return "CxS" if claim.direction == "drag" else "CzS"


def _carrier(claim: ForceClaim, frame: Frame, speed: float) -> _Carrier:
    if claim.direction == "drag" and claim.on == "car":
        name = frame.drag(claim.state)
        return _Carrier(label="CxS", predict=lambda at: at(name), uses=(name,))
    if claim.on == "part" and claim.direction == "downforce":
        part = f"part@{claim.part}"
        return _Carrier(label=f"CzS of the {claim.part}", predict=lambda at: at(part), uses=(part,))
    axle = {"front axle": "front", "rear axle": "rear"}.get(claim.on, "car")
    curve = frame.axle(axle, speed, claim.state)
    label = "CzS" if axle == "car" else f"CzS of the {axle} axle"
    shown = f"{label} at {plain(speed, 'speed', 'km/h')}"
    return _Carrier(label=shown, predict=curve, uses=curve.uses)


def _statement(
    claim: ForceClaim, frame: Frame, force: Quantity, speed: Quantity, carrier: _Carrier
) -> Statement:
    square = 0.5 * speed.best**2
    equation = Equation(
        predict=lambda at: square * at("air") * carrier.predict(at),
        uses=("air", *carrier.uses),
        observed=force.best,
        sd=hypot(relative_sd(force), 2 * relative_sd(speed)),
    )
    return Statement(id=claim.id, equations=(equation,), is_claim=True)


def _area(frame: Frame, force: Quantity, speed: Quantity) -> Quantity:
    air = frame.prior.quantity("air", "assumed")
    return product(((force, 1), (air, -1), (speed, -2)), unit="m²", dimension="area", factor=2.0)


def _alone(
    claim: ForceClaim, frame: Frame, force: Quantity, speed: Quantity
) -> tuple[tuple[Figure, ...], tuple[BoundCheck, ...]]:
    """Return what the claim implies alone, and the bounds it meets."""
    area, symbol = _area(frame, force, speed), _symbol(claim)
    frontal = frame.project.car.frontal_area
    figures = [Figure(label=symbol, quantity=area)]
    if claim.on == "part" and claim.direction == "downforce":
        part = frame.project.part(claim.part)
        own = part_area(part)
        least, _, _, most, source = part_bound(part, frontal.best)
        label = f"CzS of the {claim.part}"
        if own is not None:
            cz = product(((force, 1), (frame.prior.quantity("air"), -1), (speed, -2), (own, -1)),
                         unit="", dimension="ratio", factor=2.0)  # fmt: skip
            figures.append(Figure(label="Cz on its own area", quantity=cz))
            shape = f"Cz on its own area{_shape(part)}"
            check = held_against(shape, cz, least / own.best, most / own.best, source)
            return tuple(figures), (check,)
        return tuple(figures), (held_against(label, area, least, most, source),)
    line = bound("car drag" if claim.direction == "drag" else "car downforce")
    on_frontal = product(((area, 1), (frontal, -1)), unit="", dimension="ratio")
    letter = "Cx" if claim.direction == "drag" else "Cz"
    figures.append(Figure(label=f"{letter} on frontal area", quantity=on_frontal))
    # a part or axle drags no less than nothing; only the whole car has a least drag
    least = line.least if claim.on == "car" else 0.0
    label = f"{symbol} of any car"
    return tuple(figures), (held_against(label, area, least, line.most, line.source),)


def _shape(part: Part) -> str:
    """Return what decides a wing's most, in words."""
    if not isinstance(part, WingPart):
        return ""
    count = f"{part.elements} element{'s' if part.elements > 1 else ''}"
    return f" ({count}, aspect ratio {part.span.best / part.chord.best:.1f})"


def _working(
    claim: ForceClaim,
    frame: Frame,
    force: Quantity,
    speed: Quantity,
    implied: tuple[Figure, ...],
    checks: tuple[BoundCheck, ...],
) -> tuple[str, ...]:
    rho = frame.prior.best("air")
    pressure = 0.5 * rho * speed.best**2
    kind = _symbol(claim)
    lines = [
        f"F = {plain(force.best, 'force', force.unit)} = {plain(force.best, 'force', 'N')}",
        f"V = {plain(speed.best, 'speed', speed.unit)} = {plain(speed.best, 'speed', 'm/s')}",
        f"½ ρ V² = ½ · {rho:.3f} kg/m³ · ({speed.best:.2f} m/s)² = {pressure:.0f} Pa",
        f"{kind} = F / (½ ρ V²) = {force.best / pressure:.3f} m²",
    ]
    for figure in implied[1:]:
        over = force.best / pressure / figure.quantity.best
        lines.append(f"{figure.label} = {kind} / {over:.3f} m² = {figure.quantity.best:.2f}")
    lines += [
        f"{c.label}: at most {c.most:.2f} ({c.source}): {'possible' if c.is_met else 'impossible'}"
        for c in checks
    ]
    if claim.on == "car" and claim.direction == "downforce":
        area = force.best / pressure
        names = [b.name for b in bands() if b.downforce[0] <= area <= b.downforce[1]]
        lines.append("usual for: " + (", ".join(names) if names else "none of the usual classes"))
    return tuple(lines)


def _readings(claim: ForceClaim, frame: Frame, force: Quantity, speed: Quantity) -> list[Reading]:
    fast, slow = _scaled(speed, _MILE, "mph"), _scaled(speed, 1 / _MILE, "km/h")
    light, heavy = _scaled(force, _POUND, "lbf"), _scaled(force, 1 / _POUND, "kgf")
    in_miles = speed.unit == "mph"
    in_pounds = force.unit == "lbf"
    other_speed = slow if in_miles else fast
    other_force = heavy if in_pounds else light
    word, mass = ("km/h" if in_miles else "mph"), ("kg" if in_pounds else "lb")
    found = [
        _reading(claim, frame, f"speed in {word}", f"the speed is in {word}", force, other_speed),
        _reading(claim, frame, f"force in {mass}", f"the force is in {mass}", other_force, speed),
        _reading(claim, frame, "both units", f"force in {mass} and speed in {word}", other_force,
                 other_speed),
    ]  # fmt: skip
    if force.unit in ("kgf", "lbf", "daN"):
        newton = _scaled(force, 1 / _NEWTON, "N")
        found.append(_reading(claim, frame, "force in N", "the force is in N", newton, speed))
    else:
        kilo = _scaled(force, _NEWTON, "kgf")
        found.append(_reading(claim, frame, "force in kg", "the force is in kg", kilo, speed))
    found += _other_carriers(claim, frame, force, speed)
    fastest = _top_speed(claim, frame)
    if fastest is not None:
        label = f"it is quoted for top speed ({3.6 * fastest:.0f} km/h)"
        top = replace(speed, best=fastest, low=0.97 * fastest, high=1.03 * fastest, unit="km/h")
        found.append(_reading(claim, frame, "at top speed", label, force, top))
    return [*found, *_optimism(claim, frame, force, speed)]


def _optimism(claim: ForceClaim, frame: Frame, force: Quantity, speed: Quantity) -> list[Reading]:
    """Return readings that are no slips of units: hoped for, or carried over to another speed."""
    if claim.direction == "drag":
        return []
    implied, checks = _alone(claim, frame, force, speed)
    possible = all(check.is_met for check in checks)
    carrier = _carrier(claim, frame, speed.best)
    held = _statement(claim, frame, force, speed, carrier)
    hoped = replace(held.equations[0], predict=_times(_HOPE, held.equations[0].predict),
                    sd=hypot(held.equations[0].sd, _HOPE_SD))  # fmt: skip
    text = f"{plain(force.best, 'force', force.unit)}, as hoped for"
    figure = Figure(label=implied[0].label, quantity=_scaled(implied[0].quantity, 1 / _HOPE, "m²"))
    found = [Reading(name="hoped for", label="it was calculated or rounded up, not measured",
                     text=text, statements=(replace(held, equations=(hoped,)),), figure=figure,
                     is_possible=possible)]  # fmt: skip
    slowest = min(v.best for v in frame.project.study.speeds)
    if claim.on == "car" and speed.best > 1.3 * slowest:
        slow = _carrier(claim, frame, slowest)
        label = f"it was scaled up by speed squared from {3.6 * slowest:.0f} km/h or so"
        found.append(
            Reading(name="scaled from slower", label=label, text=label,
                    statements=(_statement(claim, frame, force, speed, slow),), figure=implied[0],
                    is_possible=possible)
        )  # fmt: skip
    return found


def _times(factor: float, predict: Callable[[At], float]) -> Callable[[At], float]:
    return lambda at: factor * predict(at)


def _other_carriers(
    claim: ForceClaim, frame: Frame, force: Quantity, speed: Quantity
) -> list[Reading]:
    if claim.direction == "drag":
        return []
    found = []
    if claim.on != "car":
        whole = claim.model_copy(update={"on": "car", "part": ""})
        found.append(_reading(whole, frame, "whole car", "it is the whole car's", force, speed))
    else:
        for axle in ("front axle", "rear axle"):
            one = claim.model_copy(update={"on": axle})
            label = f"it is the {axle}'s alone"
            found.append(_reading(one, frame, "one axle", label, force, speed))
        for part in frame.project.parts:
            if part.kind in ("wing", "front section", "beam wing", "floor", "splitter"):
                one = claim.model_copy(update={"on": "part", "part": part.name})
                label = f"it is the {part.name}'s alone"
                found.append(_reading(one, frame, "part alone", label, force, speed))
    return found


def _reading(
    claim: ForceClaim, frame: Frame, name: str, label: str, force: Quantity, speed: Quantity
) -> Reading:
    carrier = _carrier(claim, frame, speed.best)
    implied, checks = _alone(claim, frame, force, speed)
    on_part = claim.on == "part" and len(implied) > 1
    return Reading(
        name=name,
        label=label,
        text=f"{plain(force.best, 'force', force.unit)} at "
        f"{plain(speed.best, 'speed', speed.unit)}",
        statements=(_statement(claim, frame, force, speed, carrier),),
        figure=implied[1] if on_part else implied[0],
        is_possible=all(check.is_met for check in checks),
    )


def _scaled(quantity: Quantity, factor: float, unit: str) -> Quantity:
    return replace(
        quantity, best=quantity.best * factor, low=quantity.low * factor,
        high=quantity.high * factor, unit=unit,
    )  # fmt: skip


def _top_speed(claim: ForceClaim, frame: Frame) -> float | None:
    """Return the car's top speed as its prior says, where its power is known [m/s]."""
    said = [c.speed.best for c in frame.project.claims if c.kind == "top speed"]
    drag = [row.drag.best for row in frame.project.measured if row.drag is not None]
    if frame.project.car.power is None or not drag:
        return said[0] if said else None
    get = frame.prior.best
    return top_speed(get("power") * get("driveline"), sum(drag) / len(drag), 0.0,
                     get("rolling") * get("mass") * _NEWTON, get("air"))  # fmt: skip


def _question(claim: ForceClaim) -> str:
    where = {"part": f"the {claim.part} alone", "car": "the whole car"}.get(claim.on, claim.on)
    return (
        f"was it measured on {where}, in which units of force and speed, at which ride heights, "
        "and how"
    )
