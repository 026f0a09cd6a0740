"""The house style: contrast, even maps, nothing left behind."""

from itertools import product

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.colors import to_rgb

from tuftwork.plot.flow import plane_view
from tuftwork.plot.style import (
    DARK,
    LIGHT,
    WIDTHS,
    Theme,
    even_map,
    fan,
    font_names,
    house_style,
    new_figure,
    range_bar,
    two_sided_map,
)


def luminance(colour: object) -> float:
    """Relative luminance of WCAG 2.2."""
    c = np.array(to_rgb(colour))  # type: ignore[arg-type]
    linear = np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def contrast(a: object, b: object) -> float:
    high, low = sorted((luminance(a), luminance(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize(
    ("theme", "token"),
    list(product((LIGHT, DARK), ("ink", "faint", "front", "rear", "tuft", "ok", "wrong", "doubt"))),
)
def test_every_colour_can_be_read_on_paper_and_on_raised(theme: Theme, token: str) -> None:
    for ground in (theme.raised, theme.paper):
        assert contrast(getattr(theme, token), ground) >= 4.5


@pytest.mark.parametrize("theme", [LIGHT, DARK])
def test_the_even_map_rises_in_grey_and_ink_stays_readable(theme: Theme) -> None:
    colours = even_map(theme)(np.linspace(0, 1, 64))
    grey = np.array([luminance(c[:3]) for c in colours])
    assert np.all(np.diff(grey) > 0)
    assert min(contrast(c[:3], theme.ink) for c in colours) >= 2.5


@pytest.mark.parametrize("theme", [LIGHT, DARK])
def test_the_two_sided_map_has_its_extreme_of_brightness_at_zero(theme: Theme) -> None:
    grey = np.array([luminance(c[:3]) for c in two_sided_map(theme)(np.linspace(0, 1, 101))])
    middle = np.argmax(grey) if theme.name == "light" else np.argmin(grey)
    assert abs(int(middle) - 50) <= 6


def test_what_a_plane_cuts_is_ink_on_paper_and_stays_behind_the_field_in_the_dark() -> None:
    assert LIGHT.solid == LIGHT.ink
    brightest = max(luminance(c[:3]) for c in even_map(DARK)(np.linspace(0, 1, 64)))
    assert luminance(DARK.solid) < brightest < luminance(DARK.ink)
    assert 1.3 < contrast(DARK.solid, DARK.paper) < 3.0


@pytest.mark.parametrize("theme", [LIGHT, DARK])
def test_a_plane_draws_its_solids_in_the_themes_colour(theme: Theme) -> None:
    x, z = np.linspace(0.0, 2.0, 9), np.linspace(0.0, 1.0, 5)
    loss = np.full((5, 9), 0.2)
    loss[:3, 3:6] = np.nan
    plane = {"name": "middle", "axis": "y", "at": 0.0, "across": x, "up": z, "loss": loss}
    ax = plane_view(plane, "loss", theme=theme)
    drawn = ax.collections[0]
    assert ax.get_facecolor()[:3] == to_rgb(theme.solid)
    assert tuple(drawn.get_cmap().get_bad()[:3]) == pytest.approx(to_rgb(theme.solid))


def test_the_light_two_sided_map_is_paper_at_zero() -> None:
    np.testing.assert_allclose(two_sided_map(LIGHT)(0.5)[:3], to_rgb(LIGHT.paper), atol=0.01)


def test_a_style_leaves_nothing_behind() -> None:
    before = dict(mpl.rcParams)
    with house_style(DARK):
        pass
    new_figure(rows=2, columns=2)
    assert dict(mpl.rcParams) == before


def test_a_figure_has_the_width_of_the_page() -> None:
    figure, axes = new_figure(width="half", height=60, rows=1, columns=2)
    assert axes.shape == (1, 2)
    np.testing.assert_allclose(figure.get_size_inches() * 25.4, (WIDTHS["half"], 60))


def test_fonts_are_known_to_the_drawing_library() -> None:
    known = {f.name for f in mpl.font_manager.fontManager.ttflist}
    assert set(font_names()) <= known


def test_fans_and_bars_draw_three_layers() -> None:
    _, axes = new_figure(columns=2)
    draws = np.random.default_rng(0).normal(size=(5, 50))
    fan(axes[0, 0], np.arange(5.0), draws, LIGHT.front)
    assert len(axes[0, 0].collections) == 2
    assert len(axes[0, 0].lines) == 1
    range_bar(axes[0, 1], 1.0, draws[0], LIGHT.rear)
    assert len(axes[0, 1].collections) == 2
    best = axes[0, 1].lines[0].get_xdata()
    np.testing.assert_allclose(best, np.median(draws[0]))
