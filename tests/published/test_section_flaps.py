"""Flaps and slots against print: AIAA 93-3137, [noyes1935], NACA TN 459 and Rep. 664 and 715.

Contours that were not obtained are stood in for by four- and five-digit sections of the same camber
and thickness: NACA 3412 for Clark Y, 23012 for the flaps. Section against wing: the budget is the
issue's, on the sum of the areas or on the original chord as printed.
"""

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from tuftwork.errors import NotConverged
from tuftwork.section import (
    Condition,
    Flap,
    Polar,
    SectionPoint,
    Stack,
    analyse,
    assemble,
    check_contour,
    naca,
    polar,
    single,
)

DATA = Path(__file__).parent / "data"
CLARK = "3412"
AIR = Condition(reynolds=6e5)


def _polar(stack: Stack, alphas, condition: Condition = AIR) -> Polar:
    return polar(stack, condition, np.deg2rad(np.array(alphas, float)), n_panel=90)


def _flapped(main: str, flap: str, chord: float, degrees: float, gap: float = 0.015) -> Stack:
    one = Flap(contour=naca(flap), chord=chord, deflection=np.deg2rad(degrees), gap=gap)
    return assemble(naca(main), (one,))


@pytest.mark.xfail(strict=True, raises=NotConverged, reason="no answer: sharp coves break it down")
def test_the_three_element_section_with_layers() -> None:
    # M3 AIAA 93-3137, memory: CL 3.0 +- 0.2 at 8 deg, Re 9e6; 10 %
    rows = [r.split(",") for r in (DATA / "chin1993_30p30n.csv").read_text().splitlines()[5:]]
    names = dict.fromkeys(r[0] for r in rows)
    parts = [np.array([[float(v) for v in r[1:]] for r in rows if r[0] == n]) for n in names]
    stack = Stack(elements=tuple(check_contour(p[:, 0], p[:, 1]) for p in parts))
    point = analyse(stack, Condition(reynolds=9e6, turbulence=0.0007), np.deg2rad(8.0), n_panel=60)
    assert point.lift == pytest.approx(3.0, rel=0.10)


@pytest.mark.xfail(strict=True, reason="gain miss: +0.21 at 20 deg, no answer beyond, against 0.56")
def test_an_external_flap_raises_maximum_lift() -> None:
    # M4 [noyes1935]: 0012 flap of 0.15 chords at 45 deg, 1.25 % behind: 1.250 to 1.810 on the sum
    # of the areas, 0.56 +- 0.12. At more than 20 deg of flap the layers have no answer near the
    # maximum
    clean = _polar(single(naca(CLARK)), range(8, 19, 2)).maximum[0]
    flapped = _polar(_flapped(CLARK, "0012", 0.15, 20.0, 0.0125), (2, 4, 6, 8)).maximum[0]
    assert flapped - clean == pytest.approx(0.56, abs=0.12)


@pytest.mark.xfail(
    strict=True, reason="miss: 2.64, -17 %; the nose criterion ends it, layers alone reach 3.13"
)
def test_a_fowler_flap_on_the_original_area() -> None:
    # M5, NACA TN 459: Clark Y with a 0.40 chord flap (chord from memory) 3.17, 10 %
    stack = _flapped(CLARK, CLARK, 0.4, 30.0, 0.012)
    top = _polar(stack, range(-4, 15, 2)).maximum[0]
    assert top / stack.elements[0].chord == pytest.approx(3.17, rel=0.10)


@pytest.mark.xfail(strict=True, reason="spread miss: 0.29 of lift against 0.15")
def test_thickness_hardly_matters_to_maximum_lift_with_a_slotted_flap() -> None:
    # M7: 23012, 23021 and 23030 with a flap of 0.2566 chords, spread below 0.15
    tops = []
    for code in ("23012", "23021", "23030"):
        stack = _flapped(code, "23012", 0.2566, 30.0)
        p = _polar(stack, (2, 5, 8, 11), Condition(reynolds=2e6))
        tops.append(p.maximum[0] / stack.elements[0].chord)
    assert max(tops) - min(tops) < 0.15


@cache
def _lip(share: float) -> tuple[SectionPoint, float]:
    """Point at 2 degrees with the main element ended at the lip, and the original chord."""
    stack = _flapped("23012", "23012", 0.2566 / share, 30.0)
    point = analyse(stack, Condition(reynolds=2e6), np.deg2rad(2.0))
    return point, stack.elements[0].chord / share


def test_lift_and_nose_down_moment_grow_with_the_lip() -> None:
    # M8: lips at 83, 90 and 100 % of the chord, on the original chord; signs
    points = [_lip(share) for share in (0.83, 0.90, 1.00)]
    lift = [p.lift / c for p, c in points]
    moment = [p.moment / c**2 for p, c in points]
    assert lift[0] < lift[1] < lift[2]
    assert moment[0] > moment[1] > moment[2]


def test_the_flap_furthest_back_has_the_lowest_drag_at_high_lift() -> None:
    # M8: at 2.4 on the original chord; sign
    drag = []
    for share in (0.83, 1.00):
        stack = _flapped("23012", "23012", 0.2566 / share, 30.0)
        p = _polar(stack, (2, 4, 5, 6), Condition(reynolds=2e6))
        chord = stack.elements[0].chord / share
        drag.append(float(np.interp(2.4, p.lift / chord, p.drag / chord)))
    assert drag[1] < drag[0]
