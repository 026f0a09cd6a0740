"""The house style of every figure: colours that mean one thing each, fonts, hairlines, fans.

Figures are made without any global state: ``new_figure`` gives a figure of the right paper width,
and each plotting function takes axes or makes its own. Colours are those of the pages.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from threading import RLock
from typing import Any, Literal

import matplotlib as mpl
import numpy as np
from matplotlib import font_manager
from matplotlib.axes import Axes
from matplotlib.colors import Colormap, LinearSegmentedColormap
from matplotlib.figure import Figure

from tuftwork.quantity import Array

_MM = 1 / 25.4  # [inch]
WIDTHS = {"page": 160.0, "half": 78.0, "screen": 200.0}
"""Widths of a figure [mm]: the report's text, half of it, a page on the screen."""
_FONTS = Path(__file__).parent / "fonts"
_FALLBACK = "DejaVu Sans"
_ONE_AT_A_TIME = RLock()

Width = Literal["page", "half", "screen"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Theme:
    """Colours by meaning; the same names as on the pages."""

    name: str
    paper: str
    raised: str
    ink: str
    faint: str
    hair: str
    front: str
    rear: str
    tuft: str
    ok: str
    doubt: str
    wrong: str

    @property
    def whole(self) -> str:
        """Colour of the whole car: ink."""
        return self.ink

    @property
    def solid(self) -> str:
        """Colour of what a plane cuts: ink on paper, in the dark what stays behind the field."""
        return self.ink if self.name == "light" else self.hair


# faint and doubt are a shade darker than first drawn: 4.5:1 on paper as well as on raised
LIGHT = Theme(
    name="light", paper="#F6F4EE", raised="#FFFFFF", ink="#1C232B", faint="#5F6975",
    hair="#CFCABD", front="#0F7A7A", rear="#A3560A", tuft="#C43E1C",
    ok="#3B7A3E", doubt="#806000", wrong="#A3262A",
)  # fmt: skip
DARK = Theme(
    name="dark", paper="#14181D", raised="#1C2229", ink="#E9E6DF", faint="#93A0AC",
    hair="#39424B", front="#4DBDB8", rear="#E2A04C", tuft="#F2784B",
    ok="#7FBF7F", doubt="#D9B84A", wrong="#E5787A",
)  # fmt: skip


@cache
def font_names() -> tuple[str, ...]:
    """Return the families to use: the shipped one, or the drawing library's where it is missing."""
    shipped = []
    for file in sorted(_FONTS.glob("*.ttf")):
        font_manager.fontManager.addfont(str(file))
        shipped.append(font_manager.FontProperties(fname=str(file)).get_name())
    return tuple(dict.fromkeys(shipped)) or (_FALLBACK,)


def rules(theme: Theme = LIGHT) -> dict[Any, Any]:
    """Return the drawing library's settings for a theme."""
    return {
        "font.family": list(font_names()),
        "font.size": 9.0,
        "figure.facecolor": theme.paper,
        "savefig.facecolor": theme.paper,
        "savefig.dpi": 200,
        "axes.facecolor": theme.paper,
        "axes.edgecolor": theme.faint,
        "axes.labelcolor": theme.ink,
        "axes.linewidth": 0.6,
        "axes.spines.top": False,
        "axes.spines.right": False,
        "axes.titlelocation": "left",
        "axes.titlesize": 10.0,
        "axes.titleweight": 600,
        "axes.titlecolor": theme.ink,
        "axes.titlepad": 8.0,
        "axes.labelsize": 9.0,
        "axes.axisbelow": True,
        "axes.unicode_minus": True,
        "xtick.color": theme.faint,
        "ytick.color": theme.faint,
        "xtick.labelcolor": theme.ink,
        "ytick.labelcolor": theme.ink,
        "xtick.labelsize": 8.0,
        "ytick.labelsize": 8.0,
        "xtick.major.width": 0.6,
        "ytick.major.width": 0.6,
        "xtick.major.size": 3.0,
        "ytick.major.size": 3.0,
        "grid.color": theme.hair,
        "grid.linewidth": 0.5,
        "text.color": theme.ink,
        "lines.linewidth": 1.6,
        "lines.solid_capstyle": "round",
        "legend.frameon": False,
        "legend.fontsize": 8.0,
        "svg.fonttype": "none",
        "pdf.fonttype": 42,
        "image.interpolation": "nearest",
    }


@contextmanager
def house_style(theme: Theme = LIGHT) -> Iterator[None]:
    """Let new axes and text follow the house style while the context lasts.

    The drawing library keeps its settings in one place for all threads, so one figure is made at
    a time.
    """
    with _ONE_AT_A_TIME, mpl.rc_context(rules(theme)):
        yield


def new_figure(
    *,
    width: Width = "page",
    height: float = 90.0,
    theme: Theme = LIGHT,
    rows: int = 1,
    columns: int = 1,
) -> tuple[Figure, np.ndarray]:
    """Return a figure and its axes ``(rows, columns)`` on the theme's paper.

    Parameters
    ----------
    width
        Key of ``WIDTHS``.
    height
        [mm]
    theme
        ``LIGHT`` for paper, either on the screen.
    rows, columns
        Of axes.

    Returns
    -------
    figure, axes
        The figure keeps nothing open: no window knows of it.
    """
    with house_style(theme):
        size = WIDTHS[width] * _MM, height * _MM
        figure = Figure(figsize=size, layout="constrained", facecolor=theme.paper)
        axes = figure.subplots(rows, columns, squeeze=False)
    return figure, np.asarray(axes)


def axes_or_new(ax: Axes | None, theme: Theme = LIGHT, height: float = 90.0) -> Axes:
    """Return the axes given, or those of a new page-wide figure."""
    if ax is not None:
        return ax
    made: Axes = new_figure(theme=theme, height=height)[1][0, 0]
    return made


def even_map(theme: Theme = LIGHT) -> Colormap:
    """Return the map for amounts (speed, temperature, load): even, safe in grey.

    Cividis, cut at its darker end and washed with paper so that ink stays readable on it.
    """
    low, high, wash = (0.12, 1.0, 0.38) if theme.name == "light" else (0.0, 0.85, 0.3)
    base = mpl.colormaps["cividis"](np.linspace(low, high, 256))[:, :3]
    paper = np.array(mpl.colors.to_rgb(theme.paper))
    return LinearSegmentedColormap.from_list("tuft even", (1 - wash) * base + wash * paper)


def two_sided_map(theme: Theme = LIGHT) -> Colormap:
    """Return the map for signed amounts (pressure, differences): the sheet's paper at zero."""
    if theme.name == "dark":
        return mpl.colormaps["berlin"]
    base = mpl.colormaps["RdBu_r"](np.linspace(0, 1, 257))[:, :3]
    paper = np.array(mpl.colors.to_rgb(theme.paper))
    near = np.exp(-np.square(np.linspace(-1, 1, 257) / 0.25))[:, None]
    return LinearSegmentedColormap.from_list("tuft two-sided", (1 - near) * base + near * paper)


def fan(ax: Axes, x: Array, draws: Array, colour: str, *, label: str = "") -> None:
    """Draw a curve with its ranges: light band 80 %, darker band 50 %, line best.

    Parameters
    ----------
    ax
        To draw on.
    x : (n,)
        In the shown unit.
    draws : (n, n_draw)
        In the shown unit.
    colour
        Of the theme.
    label
        For a legend, where there is one.
    """
    low, low_half, best, high_half, high = np.nanquantile(
        draws, (0.1, 0.25, 0.5, 0.75, 0.9), axis=1
    )
    ax.fill_between(x, low, high, color=colour, alpha=0.16, linewidth=0)
    ax.fill_between(x, low_half, high_half, color=colour, alpha=0.28, linewidth=0)
    ax.plot(x, best, color=colour, label=label or None)


def range_bar(ax: Axes, at: float, draws: Array, colour: str, *, upright: bool = False) -> None:
    """Draw one value with its range: thin bar 80 %, thick bar 50 %, dot best."""
    low, low_half, best, high_half, high = np.quantile(draws, (0.1, 0.25, 0.5, 0.75, 0.9))
    bar = ax.vlines if upright else ax.hlines
    bar(at, low, high, color=colour, linewidth=1.0)
    bar(at, low_half, high_half, color=colour, linewidth=4.0)
    point = (at, best) if upright else (best, at)
    paper = ax.get_facecolor()
    ax.plot(*point, "o", color=colour, markersize=6, markeredgecolor=paper, markeredgewidth=1.2)


def name_line(ax: Axes, x: float, y: float, text: str, colour: str, **where: Any) -> None:
    """Write a curve's name beside it, in its colour, instead of a legend."""
    ax.annotate(
        text, (x, y), xytext=where.pop("shift", (5, 0)), textcoords="offset points",
        color=colour, va=where.pop("va", "center"), fontsize=8.5, fontweight=600, **where,
    )  # fmt: skip
