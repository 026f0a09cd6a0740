"""A coefficient: S = C · A, with the area stated or not."""

from collections.abc import Callable
from math import hypot

from tuftwork.car import CoefficientClaim
from tuftwork.claims.belief import At, Equation, Statement
from tuftwork.claims.case import Case, Expectation, Reading, held_against
from tuftwork.claims.finding import BoundCheck, Figure
from tuftwork.claims.frame import Frame, part_area, part_bound, product, ranged, relative_sd
from tuftwork.claims.table import bound
from tuftwork.claims.word import plain
from tuftwork.quantity import Quantity, exact

_BOX = 0.84  # [-]  outline area over width times height, cars; common practice, no source
_BOX_SD = 0.03  # [-]
_BARE = 0.85  # [-]  drag without the kit over drag with it; common practice, no source
_BARE_SD = 0.08  # [-]
_SPEED = 180 / 3.6  # [m/s]  where a downforce coefficient is taken to hold if nothing is said


def coefficient_case(claim: CoefficientClaim, frame: Frame) -> Case:
    """Return a claimed coefficient as equations."""
    value = ranged(claim.value, "coefficient")
    predict, uses, label = _carrier(claim, frame)
    area, area_label, area_uses, get_area = _reference(claim, frame)
    implied, checks = _alone(claim, frame, value, area)
    return Case(
        statement=_statement(claim, value, predict, uses, get_area, area_uses),
        expectations=(
            Expectation(label=label, predict=predict, uses=uses, dimension="area", unit="m²"),
        ),
        equation="S = C · A",
        working=(
            f"C = {value.best:g} on the {area_label}, A = {area.best:.3f} m²",
            f"{implied[0].label} = C · A = {value.best * area.best:.3f} m²",
            *(
                f"{c.label}: {c.least:.2f} to {c.most:.2f} ({c.source}): "
                f"{'possible' if c.is_met else 'impossible'}"
                for c in checks
            ),
        ),
        implied=implied,
        bounds=checks,
        readings=tuple(_readings(claim, frame, value)),
        question="on which reference area, at which ride heights and with which cooling, wing and "
        "tyres was it found",
    )


def _carrier(
    claim: CoefficientClaim, frame: Frame, on: str = ""
) -> tuple[Callable[[At], float], tuple[str, ...], str]:
    carrier = on or claim.on
    if claim.direction == "drag":
        name = frame.drag()
        return (lambda at: at(name)), (name,), "CxS"
    if carrier == "part":
        part = f"part@{claim.part}"
        return (lambda at: at(part)), (part,), f"CzS of the {claim.part}"
    axle = {"front axle": "front", "rear axle": "rear"}.get(carrier, "car")
    curve = frame.axle(axle, _SPEED)
    return curve, curve.uses, f"CzS of the {carrier} at {plain(_SPEED, 'speed', 'km/h')}"


def _reference(
    claim: CoefficientClaim, frame: Frame
) -> tuple[Quantity, str, tuple[str, ...], Callable[[At], float]]:
    """Return the reference area: as stated, a part's own, or the frontal area, an unknown."""
    if claim.area is not None:
        stated = claim.area.best
        return claim.area, "stated area", (), lambda _: stated
    own = part_area(frame.project.part(claim.part)) if claim.on == "part" else None
    if own is not None:
        best = own.best
        return own, "part's own area", (), lambda _: best
    return frame.project.car.frontal_area, "frontal area", ("area",), lambda at: at("area")


def _statement(
    claim: CoefficientClaim,
    value: Quantity,
    predict: Callable[[At], float],
    uses: tuple[str, ...],
    area: Callable[[At], float],
    area_uses: tuple[str, ...],
    *,
    factor: float = 1.0,
    factor_sd: float = 0.0,
) -> Statement | None:
    if value.best == 0:
        return None
    own = relative_sd(claim.area) if claim.area is not None else 0.0
    equation = Equation(
        predict=lambda at: factor * predict(at) / area(at),
        uses=(*uses, *area_uses),
        observed=value.best,
        sd=hypot(relative_sd(value), hypot(own, factor_sd)),
    )
    return Statement(id=claim.id, equations=(equation,), is_claim=True)


def _alone(
    claim: CoefficientClaim, frame: Frame, value: Quantity, area: Quantity
) -> tuple[tuple[Figure, ...], tuple[BoundCheck, ...]]:
    symbol = "CxS" if claim.direction == "drag" else "CzS"
    if value.best > 0:
        implied = product(((value, 1), (area, 1)), unit="m²", dimension="area")
    else:
        ends = sorted((value.low * area.best, value.high * area.best))
        implied = Quantity(best=value.best * area.best, low=ends[0], high=ends[1], unit="m²",
                           dimension="area", origin="claimed")  # fmt: skip
    if claim.on == "part" and claim.direction == "downforce":
        part = frame.project.part(claim.part)
        least, _, _, most, source = part_bound(part, frame.project.car.frontal_area.best)
        check = held_against(f"CzS of the {claim.part}", implied, least, most, source)
    elif claim.area is not None or claim.on != "car":
        line = bound("car drag" if claim.direction == "drag" else "car downforce")
        least = line.least if claim.on == "car" else min(0.0, line.least)
        check = held_against(f"{symbol} of any car", implied, least, line.most, line.source)
    else:
        line = bound(f"{claim.direction} coefficient")
        label = f"{claim.direction} coefficient on frontal area"
        check = held_against(label, value, line.least, line.most, line.source)
    return (Figure(label=symbol, quantity=implied),), (check,)


def _readings(claim: CoefficientClaim, frame: Frame, value: Quantity) -> list[Reading]:
    predict, uses, _ = _carrier(claim, frame)
    area, _, area_uses, get_area = _reference(claim, frame)
    symbol = "CxS" if claim.direction == "drag" else "CzS"

    def reading(name: str, label: str, statement: Statement | None, implied: float) -> Reading:
        # a claim is said with two or three figures: no more of them in what it would mean
        shown = exact(float(f"{implied:.3g}"), "area", unit="m²", origin="claimed")
        figure = Figure(label=symbol, quantity=shown)
        held = (statement,) if statement else ()
        return Reading(name=name, label=label, text=f"{value.best:g}, {label}", statements=held,
                       figure=figure)  # fmt: skip

    found = []
    if claim.on == "car" and claim.area is None:
        box = _statement(claim, value, predict, uses, get_area, area_uses, factor=_BOX,
                         factor_sd=_BOX_SD)  # fmt: skip
        label = "it is on width times height, not on the outline's area"
        found.append(reading("box area", label, box, value.best * area.best / _BOX))
        alone = _statement(claim, value, predict, uses, lambda _: 1.0, ())
        found.append(reading("value is an area", "it is an area in m², no coefficient", alone,
                             value.best))  # fmt: skip
    if claim.direction == "drag" and claim.on == "car":
        bare = _statement(claim, value, predict, uses, get_area, area_uses, factor=_BARE,
                          factor_sd=_BARE_SD)  # fmt: skip
        found.append(reading("bare body", "it is of the body without wing, kit or open ducts", bare,
                             value.best * area.best / _BARE))  # fmt: skip
    if claim.direction == "downforce" and claim.on == "car":
        for axle in ("front axle", "rear axle"):
            curve, names, _ = _carrier(claim, frame, axle)
            one = _statement(claim, value, curve, names, get_area, area_uses)
            found.append(
                reading("one axle", f"it is of the {axle} alone", one, value.best * area.best)
            )
    return found
