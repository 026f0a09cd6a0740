"""Recorded runs of the lattice flow on a card: the diffuser body, and the channel's profile.

What is recorded is this package's own; what it is held against is printed, and named beside it.
The runs themselves come from the functions of tests/published/flow_bodies.py and flow_rungs.py.
"""

from pathlib import Path

import numpy as np
import pytest

HERE = Path(__file__).parent / "data"
PRINTED = Path(__file__).parents[1] / "published" / "data"


def table(path: Path) -> np.ndarray:
    return np.genfromtxt(
        (line for line in path.read_text("utf-8").splitlines() if not line.startswith("#")),
        delimiter=",", names=True, dtype=None, encoding=None,
    )  # fmt: skip


def ramp_17() -> np.ndarray:
    """The 17° ramp with 4 mm cells and the wall law alone."""
    rows = table(HERE / "flow_diffuser_body.csv")
    return rows[(rows["angle"] == 17) & (rows["under"] == 4) & (rows["walls"] == "law")]


def falling() -> np.ndarray:
    """Each height from the higher one before it."""
    rows = ramp_17()
    is_lower = np.isnan(rows["from"]) | (rows["from"] > rows["height"])
    return rows[is_lower]


def at(rows: np.ndarray, height: float) -> np.void:
    return rows[np.argmin(np.abs(rows["height"] - height))]


def test_downforce_peaks_at_the_printed_height() -> None:
    # D33 (memory, low): h/d 0.2 +- 0.05
    rows = falling()
    assert abs(float(rows["height"][np.argmax(rows["downforce"])]) - 0.20) <= 0.05


def test_downforce_has_one_maximum() -> None:
    # D38 (seen, regimes): rises as the height falls, then falls; two standard errors are allowed
    rows = falling()
    top = int(np.argmax(rows["downforce"]))
    rise = np.diff(rows["downforce"])
    allowed = 2 * np.hypot(rows["error"][1:], rows["error"][:-1])
    assert np.all(rise[:top] > -allowed[:top])
    assert np.all(rise[top:] < allowed[top:])


def least_speed_on_the_ramp(height: float) -> float:
    """Beside the middle of the ramp, over the car's speed."""
    lines = table(HERE / "flow_diffuser_pressure.csv")
    on_ramp = (lines["x"] > 0.85) & (lines["x"] < 1.25)
    return float(lines[f"speed_17_{height:g}".replace(".", "")][on_ramp].min())


def test_attached_then_dead_air_on_the_ramp_then_one_side_lost() -> None:
    # D30 (seen in the abstract): enhancement, symmetric, attached; maximum, separation on the ramp,
    # symmetric; reduction, asymmetric. Which side is lost is chance
    rows = falling()
    high, dead, low = at(rows, 0.22), at(rows, 0.19), at(rows, 0.10)
    assert least_speed_on_the_ramp(0.22) > 0.5
    assert least_speed_on_the_ramp(0.19) < 0.2
    assert high["reversed_left"] == high["reversed_right"] == 0
    assert abs(dead["reversed_left"] - dead["reversed_right"]) < 0.01
    assert low["downforce"] < dead["downforce"]
    assert abs(low["reversed_left"] - low["reversed_right"]) > 0.2


@pytest.mark.xfail(
    strict=True,
    reason="miss: slowest 0.65 of the car's speed at the greatest load against 0.2;"
    " dead air from 0.19 down, 6 % below it",
)
def test_dead_air_stands_on_the_ramp_where_the_load_is_greatest() -> None:
    # D30, the second regime
    rows = falling()
    greatest = rows[np.argmax(rows["downforce"])]
    assert least_speed_on_the_ramp(float(greatest["height"])) < 0.2


@pytest.mark.xfail(strict=True, reason="miss: slowest 0.52 of the car's speed against 0.2")
def test_dead_air_stands_on_the_ramp_at_0382() -> None:
    # D34 (memory), the second regime
    assert least_speed_on_the_ramp(0.38) < 0.2


@pytest.mark.xfail(strict=True, reason="miss: both sides alike against a fifth of the ramp")
def test_one_side_is_lost_at_0191() -> None:
    # D34 (memory), the third regime
    row = at(falling(), 0.191)
    assert abs(row["reversed_left"] - row["reversed_right"]) > 0.2


def test_the_way_up_has_less_load_and_a_side_still_lost() -> None:
    # D31 (seen in the abstract of 2003): hysteresis at 17 degrees, no size printed; 3 standard
    # errors, and the side load that a symmetric flow may have (below)
    rows = ramp_17()
    up = rows[(rows["from"] < rows["height"]) & (rows["height"] == 0.16)]
    down = at(falling(), 0.16)
    assert len(up) == 1
    assert down["downforce"] - up["downforce"][0] > 3 * np.hypot(down["error"], up["error"][0])
    assert abs(down["side"] / down["downforce"]) < 0.01 < abs(up["side"][0] / up["downforce"][0])


def test_the_side_that_is_lost_loses_suction_in_the_ramps_first_half() -> None:
    # D32 (seen in the abstract of 2001)
    lines = table(HERE / "flow_diffuser_pressure.csv")
    first = (lines["x"] > 0.80) & (lines["x"] < 1.05)
    symmetric = np.abs(lines["left_17_019"] - lines["right_17_019"])[first]
    low = (lines["left_17_01"] - lines["right_17_01"])[first]
    assert symmetric.max() < 0.1
    row = at(falling(), 0.10)
    is_left = row["reversed_left"] > row["reversed_right"]
    assert (low if is_left else -low).mean() > 0.15


@pytest.mark.xfail(strict=True, reason="miss: 23 % lost at h/d 0.1 against a quarter")
def test_a_quarter_is_lost_at_half_the_peaks_height() -> None:
    # D30, size from memory
    rows = falling()
    assert at(rows, 0.10)["downforce"] <= 0.75 * rows["downforce"].max()


def with_layer() -> np.ndarray:
    """The 17° ramp with a mixing layer on the body and walls that bend, before air was made."""
    rows = table(HERE / "flow_diffuser_bend.csv")
    return rows[rows["angle"] == 17]


def test_with_a_layer_the_flow_is_attached_down_to_the_peak_and_lost_below_it() -> None:
    # D31 (seen in the abstract of 2001): attached at first, parted below the greatest load
    rows = with_layer()
    assert rows[rows["height"] >= 0.22]["reversed"].max() == 0
    assert at(rows, 0.10)["reversed"] > 0.1


@pytest.mark.xfail(strict=True, reason="miss: the slowest air at the peak has 0.74 of the speed")
def test_with_a_layer_there_is_dead_air_at_the_greatest_load() -> None:
    # D31 (seen in the abstract of 2001): the greatest load lies in the second regime, parted
    rows = with_layer()
    assert rows[np.argmax(rows["downforce"])]["slowest"] <= 0.2


@pytest.mark.xfail(strict=True, reason="miss: a third of the ramp's middle runs back, both sides")
def test_with_a_layer_one_side_of_the_ramp_is_lost_first() -> None:
    # D31: in the third regime one side holds
    row = at(with_layer(), 0.10)
    assert min(row["reversed_left"], row["reversed_right"]) < 0.1


def test_with_a_layer_downforce_peaks_at_the_printed_height_too() -> None:
    # D33 (memory, low): h/d 0.2 +- 0.05
    rows = with_layer()
    assert abs(float(rows["height"][np.argmax(rows["downforce"])]) - 0.20) <= 0.05


def test_with_a_layer_a_quarter_or_more_is_lost_at_half_the_peaks_height() -> None:
    # D30, size from memory
    rows = with_layer()
    assert at(rows, 0.10)["downforce"] <= 0.75 * rows["downforce"].max()


def with_made_air() -> np.ndarray:
    """The 17° ramp with the walls as they stand."""
    return table(HERE / "flow_diffuser_made.csv")


def test_with_the_walls_of_now_downforce_peaks_at_the_printed_height() -> None:
    # D33 (memory, low): h/d 0.2 +- 0.05; D38 (seen): one maximum
    rows = with_made_air()
    top = int(np.argmax(rows["downforce"]))
    assert abs(float(rows["height"][top]) - 0.20) <= 0.05
    assert np.all(np.diff(rows["downforce"])[:top] > 0)
    assert np.all(np.diff(rows["downforce"])[top:] < 0)


def test_with_the_walls_of_now_the_flow_is_attached_down_to_the_peak_and_lost_below_it() -> None:
    # D30, D31 (seen in the abstract of 2001)
    rows = with_made_air()
    sides = rows["reversed_left"] + rows["reversed_right"] + rows["reversed_middle"]
    assert sides[rows["height"] >= 0.22].max() == 0
    assert sides[rows["height"] < 0.22].min() > 0.1


def test_with_the_walls_of_now_a_quarter_or_more_is_lost_at_half_the_peaks_height() -> None:
    # D30, size from memory
    rows = with_made_air()
    assert at(rows, 0.10)["downforce"] <= 0.75 * rows["downforce"].max()


@pytest.mark.xfail(strict=True, reason="miss: the slowest air at the peak has 0.59 of the speed")
def test_with_the_walls_of_now_there_is_dead_air_at_the_greatest_load() -> None:
    # D31 (seen in the abstract of 2001): the greatest load lies in the second regime, parted
    rows = with_made_air()
    assert rows[np.argmax(rows["downforce"])]["slowest"] <= 0.2


@pytest.mark.xfail(strict=True, reason="miss: 12 and 22 % of the sides and 24 % of the middle")
def test_with_the_walls_of_now_one_side_of_the_ramp_holds_at_a_tenth() -> None:
    # D31: in the third regime one side holds
    row = at(with_made_air(), 0.10)
    assert min(row["reversed_left"], row["reversed_right"]) < 0.1


@pytest.mark.xfail(strict=True, reason="miss: 0.80 by pressure, 0.58 by the momentum of the air")
def test_both_books_of_the_load_agree_where_the_ramp_has_parted() -> None:
    # exact: one load; a tenth is allowed
    row = at(with_made_air(), 0.10)
    assert row["exchange"] == pytest.approx(row["downforce"], rel=0.1)


def test_a_body_alike_left_and_right_has_no_side_load_while_its_flow_is_symmetric() -> None:
    # exact in the mean; what a grid that lost a row of cells on one side made of it stays recorded
    rows = table(HERE / "flow_diffuser_body.csv")
    backwards = np.maximum(rows["reversed_left"], rows["reversed_right"])
    symmetric = (rows["height"] > 0.15) & (backwards < 0.02)
    whole = rows[symmetric & (rows["cut"] == "true")]
    assert len(whole) == 10
    assert np.abs(whole["side"] / whole["downforce"]).max() < 0.01
    assert rows[symmetric & (rows["cut"] == "lopsided")]["side"].min() > 0.015


def profile(re_tau: int, half: int) -> np.ndarray:
    rows = table(HERE / "flow_channel_profile.csv")
    return rows[(rows["re_tau"] == re_tau) & (rows["half"] == half)]


MODEL = 0.04
"""Half of what friction is allowed with a modelled wall, 8 %: u+ goes with its root."""


def against_moser(half: int, rows: slice) -> float:
    """Largest error of u+ against the printed profile at y+ above 30."""
    ours = profile(395, half)[rows]
    ours = ours[(ours["y_plus"] > 30) & (ours["y_plus"] < 390)]
    printed = table(PRINTED / "moser1999_retau395.csv")
    y, u = printed["y_plus"], printed["U_plus"]
    expected = np.interp(np.log(ours["y_plus"]), np.log(y[1:]), u[1:])
    return float(np.abs(ours["u_plus"] / expected - 1).max())


MISS_24 = pytest.mark.xfail(strict=True, reason="miss: 4.9 % high against 4 %")


@pytest.mark.parametrize("half", [16, pytest.param(24, marks=MISS_24), 32])
def test_the_channel_has_its_printed_profile_beyond_the_layer(half: int) -> None:
    # Moser, Kim and Mansour 1999 (seen), true Re_tau 392
    assert against_moser(half, slice(4, None)) < MODEL


def test_the_profile_follows_the_log_law_where_that_is_stated() -> None:
    # L64, Lee and Moser 2015 (memory, high): kappa 0.384, B 4.27 at y+ > 350, y/h < 0.16
    ours = profile(5200, 32)
    span = ours["y_plus"][-1] * 32 / 31.5
    inside = (ours["y_plus"] > 350) & (ours["y_plus"] < 0.16 * span)
    law = np.log(ours["y_plus"][inside]) / 0.384 + 4.27
    assert inside.sum() >= 3
    assert np.abs(ours["u_plus"][inside] / law - 1).max() < MODEL


@pytest.mark.xfail(strict=True, reason="miss: kappa 0.21, B -9.6 against 0.384, 4.27")
def test_the_profile_has_the_slope_of_the_log_law() -> None:
    # L64: +- 0.004 and 0.1
    ours = profile(5200, 32)
    span = ours["y_plus"][-1] * 32 / 31.5
    inside = (ours["y_plus"] > 350) & (ours["y_plus"] < 0.16 * span)
    slope, start = np.polyfit(np.log(ours["y_plus"][inside]), ours["u_plus"][inside], 1)
    assert abs(1 / slope - 0.384) < 0.004
    assert abs(start - 4.27) < 0.1
