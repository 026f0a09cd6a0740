"""Lift of sections in the lattice flow against their exact potential flows.

Walls have no friction here, so what is missing in lift is the work of the cells, the tail and its
Kutta condition. Expected values: tables E2 of conformal maps (status: computed from the closed
form). Budget at 60 cells over the chord: 5 % in lift, 0.9 % of it the weak compressibility at 0.075
cells per step; 0.01 in drag, which is nothing in a potential flow. Over a wall: table E4 (status:
computed from the closed form), the same budget; the air is faster there, and lattice speed of 0.05
in place of 0.075 takes 0.8 % off.
"""

from dataclasses import dataclass

import numpy as np
import pytest
from tests.published.flow_section import MappedSection, SectionOverWall, SectionSlice

pytestmark = pytest.mark.published

CAMBERED = MappedSection(centre=-0.1 + 0.1j, tail=10.0, alpha=4.0)
SYMMETRIC = MappedSection(centre=-0.12 + 0.0j, tail=15.0, alpha=4.0)
CUSPED = MappedSection(centre=-0.1 + 0.1j, tail=0.0, alpha=4.0)
OVER_WALL = SectionOverWall(
    height=1.60, pole=0.10 + 0.06j, tail_at=0.10, slope=0.8494140223 + 0.0982429956j,
    lift=-1.70826493,
)  # fmt: skip

CYLINDER = MappedSection(centre=0j, tail=180.0, alpha=1e-3)

WORST = pytest.mark.xfail(strict=True, reason="miss: 5.4 % of the lift against 5")
PLACES = [pytest.param((0.94, 0.91), marks=WORST), (0.94, 0.16), (0.57, 0.41), (0.44, 0.66)]
BLUNT = pytest.mark.xfail(strict=True, reason="miss: 15 % low at one of three places")


@pytest.mark.parametrize(
    ("section", "lift"),
    [(CAMBERED, 1.1297347775), (SYMMETRIC, 0.5051477630), (CUSPED, 1.0996717192)],
)
def test_the_map_is_the_one_of_the_table(section: MappedSection, lift: float) -> None:
    assert section.lift == pytest.approx(lift, rel=1e-4)


@pytest.fixture(scope="module", params=["cambered", "symmetric"])
def flow(request: pytest.FixtureRequest) -> tuple[MappedSection, np.ndarray]:
    """Last half of two chords of travel."""
    section = {"cambered": CAMBERED, "symmetric": SYMMETRIC}[request.param]
    rows = SectionSlice(section, 60).run(2.0)
    return section, rows[len(rows) // 2 :].mean(axis=0)


def test_the_lift_is_that_of_the_potential_flow(flow: tuple[MappedSection, np.ndarray]) -> None:
    section, (_, _, lift) = flow
    assert lift == pytest.approx(section.lift, rel=0.05)


def test_there_is_no_drag(flow: tuple[MappedSection, np.ndarray]) -> None:
    _, (_, drag, _) = flow
    assert drag == pytest.approx(0.0, abs=0.01)


@pytest.mark.parametrize(
    "speed",
    [
        0.0375,
        pytest.param(
            0.075,
            marks=pytest.mark.xfail(
                strict=True, reason="miss: drag 0.019 of the thickness against 0.01"
            ),
        ),
    ],
)
def test_a_cylinder_without_friction_has_no_drag(speed: float) -> None:
    """Exact: half a thickness of travel from its potential flow, 50 cells thick."""
    rows = SectionSlice(CYLINDER, 50, speed=speed, room=(3.4, 3.0)).run(0.5)
    assert rows[len(rows) * 3 // 4 :, 1].mean() == pytest.approx(0.0, abs=0.01)


@pytest.mark.parametrize("cells", [20, 30, 50])
@pytest.mark.parametrize("place", [(0.25, 0.25), (0.5, 0.5)])
def test_the_front_of_a_cylinder_is_pulled_as_without_friction(
    cells: int, place: tuple[float, float]
) -> None:
    """Exact: half of ∫ (1 − 4 sin²θ) cos θ dθ from −90° to 90°, −1/3; budget 0.015."""
    flow = SectionSlice(CYLINDER, cells, room=(3.4, 3.0), tail=place)
    front = flow.push(0.5, only=lambda at: at[:, 0] < 0)
    assert front == pytest.approx(-1 / 3, abs=0.015)


@dataclass(frozen=True, kw_only=True)
class CutSection(MappedSection):
    """A mapped section whose tail is cut off ``cut`` of its length ahead of its end."""

    cut: float

    def contour(self, count: int = 400) -> np.ndarray:
        whole = super().contour(4 * count)
        end = whole.real.max() - self.cut * np.ptp(whole.real)
        return whole[whole.real < end]


@pytest.mark.parametrize("cut", [0.02, pytest.param(0.06, marks=BLUNT)])
def test_lift_does_not_hang_on_where_a_cut_tail_lies(cut: float) -> None:
    """A tail of 15° cut to 0.4 and 1.3 cells, its lift held against that of the whole section.

    Cut off it is shorter by ``cut``, and lifts less by something like half of that; budget 5 %.
    """
    section = CutSection(centre=SYMMETRIC.centre, tail=SYMMETRIC.tail, alpha=4.0, cut=cut)
    errors = [lift_error(section, tail) for tail in ((0.05, 0.05), (0.25, 0.25), (0.7, 0.1))]
    assert max(errors) - min(errors) < 0.05
    assert np.mean(errors) == pytest.approx(-0.5 * cut, abs=0.05)


def lift_error(section: MappedSection | SectionOverWall, tail: tuple[float, float]) -> float:
    """Departure of the lift over the second half of a chord of travel, over the exact one."""
    rows = SectionSlice(section, 60, tail=tail).run(1.0)
    return float(rows[len(rows) // 2 :, 2].mean() / section.lift - 1)


@pytest.mark.parametrize("tail", PLACES)
def test_lift_does_not_hang_on_where_a_tail_lies_in_its_cell(tail: tuple[float, float]) -> None:
    """The places were the worst of 32 before cells behind a tail slipped midway: +41 to −25 %."""
    assert lift_error(SYMMETRIC, tail) == pytest.approx(0.0, abs=0.05)


@pytest.mark.parametrize("tail", [(0.57, 0.41), (0.94, 0.91)])
def test_nor_on_where_a_cusp_lies(tail: tuple[float, float]) -> None:
    assert lift_error(CUSPED, tail) == pytest.approx(0.0, abs=0.05)


def test_the_flow_over_a_wall_is_the_one_of_the_table() -> None:
    _, length = OVER_WALL.chord
    assert OVER_WALL.circulation / length == pytest.approx(-0.71034518, rel=2e-4)


@pytest.mark.parametrize("along", [0.05, 0.8, 0.93])
def test_downforce_over_a_wall_is_that_of_the_potential_flow(along: float) -> None:
    """15 cells of gap, a quarter of the chord."""
    assert lift_error(OVER_WALL, (along, 0.0)) == pytest.approx(0.0, abs=0.05)
