"""Figures of the map and of the balance: what is drawn is what was computed."""

from dataclasses import replace
from io import BytesIO

import numpy as np
import pytest
from matplotlib.axes import Axes

from tuftwork.aeromap.balance import Balance, balance_of
from tuftwork.aeromap.equilibrium import PlatformPath, follow_path
from tuftwork.aeromap.interface import PartLoad, PlatformState
from tuftwork.aeromap.map import AeroMap, AirAt, build_map, map_surface
from tuftwork.aeromap.platform import AxleRates, Suspension, axle_spring
from tuftwork.errors import UnknownName
from tuftwork.plot.balance import area_curves, front_share_curve, load_curves
from tuftwork.plot.map import FIELDS, load_map
from tuftwork.plot.style import DARK, LIGHT, Theme

N = 12
CLIFF = np.random.default_rng(0).normal(0.060, 0.001, N)


def load(platform: PlatformState) -> PartLoad:
    hf, hr = platform.ride_height_front, platform.ride_height_rear
    return PartLoad(
        downforce_front=0.7 - 8 * (hf - 0.05) + 0 * CLIFF,
        downforce_rear=0.65 + 0.3 / (1 + np.exp(-(hr - CLIFF) / 1.5e-3)),
        drag=0.9 + 0 * CLIFF,
    )  # fmt: skip


@pytest.fixture(scope="module")
def solved() -> tuple[AeroMap, PlatformPath, Balance]:
    made = build_map(
        {"as raced": load}, front=np.linspace(0.034, 0.062, 8), rear=np.linspace(0.05, 0.075, 14),
        air=AirAt(speed=60.0, density=1.18, viscosity=1.8e-5),
    )  # fmt: skip
    flat = np.zeros(N)
    rates = AxleRates(
        wheel_rate=flat + 75e3, tyre_rate=flat + 265e3, stop_gap=np.zeros((N, 0)),
        stop_rate=np.zeros((N, 0)),
    )  # fmt: skip
    springs = [
        axle_spring(rates, ride_height=flat + h, growth=flat, static_load=flat + 6e3)
        for h in (0.058, 0.071)
    ]
    car = Suspension(front=springs[0], rear=springs[1], inputs={})
    speed = np.linspace(25.0, 66.0, 9)
    path, _ = follow_path(map_surface(made), car, speed=speed, density=1.18)
    return made, path, balance_of(path, map_surface(made))


def renders(ax: Axes) -> bool:
    out = BytesIO()
    figure = ax.figure
    figure.savefig(out, format="png", dpi=40)  # type: ignore[union-attr]
    return out.tell() > 2000


@pytest.mark.parametrize("theme", [LIGHT, DARK])
@pytest.mark.parametrize("shown", list(FIELDS))
def test_every_field_can_be_shown_in_both_themes(
    solved: tuple[AeroMap, PlatformPath, Balance], shown: str, theme: Theme
) -> None:
    ax = load_map(solved[0], shown, path=solved[1], theme=theme)
    assert ax.get_xlabel() == "front ride height hf [mm]"
    assert FIELDS[shown].unit in ax.get_title(loc="left")
    assert renders(ax)


def test_cells_outside_what_was_checked_are_hatched_and_said(
    solved: tuple[AeroMap, PlatformPath, Balance],
) -> None:
    made = solved[0]
    beyond = np.zeros_like(made.extrapolated)
    beyond[:, :2] = True
    hatches = []
    for flags in (np.zeros_like(beyond), beyond):
        ax = load_map(replace(made, extrapolated=flags))
        hatches.append([c for c in ax.collections if getattr(c, "hatches", [None])[0]])
        assert ("hatched: beyond" in " ".join(t.get_text() for t in ax.texts)) == flags.any()
        assert renders(ax)
    assert hatches[0] == []
    (area,) = hatches[1]
    # half way between the second node and the third the hatching ends
    assert area.get_paths()[0].vertices[:, 0].max() == pytest.approx(1e3 * made.front[1:3].mean())


def test_the_path_on_the_map_is_the_median_of_the_draws(
    solved: tuple[AeroMap, PlatformPath, Balance],
) -> None:
    made, path, _ = solved
    ax = load_map(made, path=path)
    expected = 1e3 * np.median(path.ride_height_rear, axis=1)
    assert any(
        len(line.get_ydata()) == 9 and np.allclose(line.get_ydata(), expected) for line in ax.lines
    )


def test_an_unknown_field_is_refused(solved: tuple[AeroMap, PlatformPath, Balance]) -> None:
    with pytest.raises(UnknownName, match="total"):
        load_map(solved[0], "totl")


def test_curves_show_the_balance_in_the_units_of_their_labels(
    solved: tuple[AeroMap, PlatformPath, Balance],
) -> None:
    balance = solved[2]
    share = front_share_curve(balance, claimed=0.43)
    np.testing.assert_allclose(
        share.lines[0].get_ydata(), 100 * np.median(balance.front_share, axis=1)
    )
    np.testing.assert_allclose(share.lines[0].get_xdata(), 3.6 * balance.speed)
    in_kg, in_newton = load_curves(balance), load_curves(balance, as_mass=False)
    np.testing.assert_allclose(in_newton.lines[0].get_ydata(), 9.80665 * in_kg.lines[0].get_ydata())
    assert (in_kg.get_ylabel(), in_newton.get_ylabel()) == ("load [kg]", "load [N]")
    for ax in (share, in_kg, in_newton, area_curves(balance, theme=DARK)):
        assert renders(ax)
