"""Balance and loads against speed, as fans."""

import numpy as np
from matplotlib.axes import Axes

from tuftwork.aeromap.balance import Balance
from tuftwork.plot.style import LIGHT, Theme, axes_or_new, fan, house_style, name_line
from tuftwork.quantity import Array

_KMH = 3.6


def front_share_curve(
    balance: Balance, *, ax: Axes | None = None, theme: Theme = LIGHT, claimed: float | None = None
) -> Axes:
    """Draw the front axle's share of the downforce against speed.

    Parameters
    ----------
    balance
        Along a path.
    ax
        To draw on.
    theme
        Of the colours.
    claimed
        A constant share somebody claims, drawn as a line. [-]

    Returns
    -------
    ax
        Speed in km/h, share in per cent.
    """
    ax = axes_or_new(ax, theme)
    with house_style(theme):
        speed = _KMH * balance.speed
        fan(ax, speed, 100 * balance.front_share, theme.front)
        if claimed is not None:
            ax.axhline(100 * claimed, color=theme.wrong, linewidth=1.0, dashes=(4, 2))
            name_line(ax, speed[0], 100 * claimed, "claimed", theme.wrong, shift=(2, 6))
        _frame(ax, "front share [%]", "Balance: front share of downforce")
    return ax


def load_curves(
    balance: Balance, *, ax: Axes | None = None, theme: Theme = LIGHT, as_mass: bool = True
) -> Axes:
    """Draw front, rear and whole load against speed.

    Parameters
    ----------
    balance
        Along a path.
    ax
        To draw on.
    theme
        Of the colours.
    as_mass
        Kilograms for people who think that way, else newtons.

    Returns
    -------
    ax
        Speed in km/h.
    """
    ax = axes_or_new(ax, theme)
    with house_style(theme):
        curves = (
            ("front", balance.mass_front if as_mass else balance.load_front, theme.front),
            ("rear", balance.mass_rear if as_mass else balance.load_rear, theme.rear),
            ("whole car", balance.mass if as_mass else balance.load, theme.whole),
        )
        _curves(ax, _KMH * balance.speed, curves)
        unit = "kg" if as_mass else "N"
        _frame(ax, f"load [{unit}]", "Aerodynamic load at the axles")
        ax.set_ylim(bottom=min(0.0, ax.get_ylim()[0]))
    return ax


def area_curves(balance: Balance, *, ax: Axes | None = None, theme: Theme = LIGHT) -> Axes:
    """Draw CzSf, CzSr, CzS and CxS against speed: what a car on fixed heights would not change.

    Parameters
    ----------
    balance
        Along a path.
    ax
        To draw on.
    theme
        Of the colours.

    Returns
    -------
    ax
        Speed in km/h, areas in m².
    """
    ax = axes_or_new(ax, theme)
    with house_style(theme):
        front = balance.front_share * balance.downforce
        curves = (
            ("front", front, theme.front),
            ("rear", balance.downforce - front, theme.rear),
            ("whole car", balance.downforce, theme.whole),
            ("drag", balance.drag, theme.faint),
        )
        _curves(ax, _KMH * balance.speed, curves)
        _frame(ax, "area [m²]", "Downforce and drag areas")
    return ax


def _curves(ax: Axes, speed: Array, curves: tuple[tuple[str, Array, str], ...]) -> None:
    ends = []
    for name, draws, colour in curves:
        fan(ax, speed, draws, colour)
        ends.append((float(np.median(draws[-1])), name, colour))
    low, high = ax.get_ylim()
    least = 0.055 * (high - low)  # a line of text, so that names do not lie on each other
    at = -np.inf
    for value, name, colour in sorted(ends):
        at = max(value, at + least)
        name_line(ax, float(speed[-1]), at, name, colour, annotation_clip=False)


def _frame(ax: Axes, label: str, title: str) -> None:
    ax.set_xlabel("speed [km/h]")
    ax.set_ylabel(label)
    ax.set_title(title)
    ax.grid(visible=True, axis="y")
    ax.margins(x=0.0)
