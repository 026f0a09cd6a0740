"""What holds a splitter's plate: statics of a lever, and integrals a general library does too."""

import numpy as np
import pytest
from scipy.integrate import quad

from tuftwork.errors import InputError
from tuftwork.floor.hold import held_plate, stay_force
from tuftwork.floor.splitter import SplitterCoefficients, SplitterGeometry, estimate_splitter


def coefficients(**own: float) -> SplitterCoefficients:
    values = {"upper_pressure": 0.65, "pool": 0.25, "reach": 0.25, "suction": 0.36, "ground": 1.0,
              "centre": 0.45, "drag": 0.0, "wake": 0.0}  # fmt: skip
    return SplitterCoefficients(**{k: np.array(v) for k, v in (values | own).items()})


def shape(projection: float = 0.09) -> SplitterGeometry:
    return SplitterGeometry(
        projection=np.array(projection), width=np.array(1.7), lip_radius=np.array(0.016),
        clearance=np.array(0.05),
    )  # fmt: skip


@pytest.mark.parametrize("projection", [0.03, 0.09, 0.3])
@pytest.mark.parametrize("centre", [0.35, 0.45, 0.5, 0.6])
def test_load_and_moment_are_the_integrals_over_the_plate(projection: float, centre: float) -> None:
    g, c = shape(projection), coefficients(centre=centre)
    load = estimate_splitter(g, c)
    found = held_plate(load, g, c)
    length = projection + 0.25
    mean = float(load.under) / length

    def above(ahead: float) -> float:
        return float(1.7 * 0.65 * np.exp(-ahead / 0.25))

    def below(behind_lip: float) -> float:
        return mean * (1.0 + (6.0 - 12.0 * centre) * (0.5 - behind_lip / length))

    # the suction's own promises: its whole and its centre are the estimate's
    assert quad(below, 0.0, length)[0] == pytest.approx(float(load.under))
    own = quad(lambda x: x * below(x), 0.0, length)[0]
    assert own == pytest.approx(float(load.under) * centre * length)
    whole = quad(above, 0.0, projection)[0] + quad(below, 0.0, projection)[0]
    lever = quad(lambda a: a * above(a), 0.0, projection)[0]
    lever += quad(lambda x: (projection - x) * below(x), 0.0, projection)[0]
    assert float(found.load) == pytest.approx(whole, rel=1e-9)
    assert float(found.moment) == pytest.approx(lever, rel=1e-9)


@pytest.mark.parametrize("centre", [0.0, 0.1, 0.9, 1.0])
def test_suction_never_turns_into_push(centre: float) -> None:
    g, c = shape(0.25), coefficients(centre=centre)
    load = estimate_splitter(g, c)
    found = held_plate(load, g, c)
    assert float(load.upper) <= float(found.load) <= float(load.downforce)
    assert 0.0 < float(found.arm) < 0.25


def test_a_long_plate_with_nothing_behind_it_carries_all() -> None:
    g, c = shape(0.4), coefficients(reach=1e-9)
    load = estimate_splitter(g, c)
    assert float(held_plate(load, g, c).load) == pytest.approx(float(load.downforce))


def test_an_upright_stay_at_the_tip_holds_half_of_an_even_load() -> None:
    """A beam on two supports under an even load: each support carries half (statics)."""
    weight, length = 1200.0, 0.1
    moment = weight * length / 2
    one = stay_force(moment, count=1, ahead=length, angle=np.pi / 2)
    assert float(one) == pytest.approx(weight / 2)
    # two of them at 30 degrees: half as much each, times two for the angle
    assert float(stay_force(moment, count=2, ahead=length, angle=np.pi / 6)) == pytest.approx(600.0)
    # half as far ahead: twice the pull
    assert float(stay_force(moment, count=1, ahead=length / 2, angle=np.pi / 2)) == 1200.0


@pytest.mark.parametrize(("ahead", "angle", "name"), [(0.0, 1.0, "ahead"), (0.1, 0.0, "angle")])
def test_a_stay_that_holds_nothing_is_refused(ahead: float, angle: float, name: str) -> None:
    with pytest.raises(InputError, match=name):
        stay_force(10.0, count=2, ahead=ahead, angle=angle)
