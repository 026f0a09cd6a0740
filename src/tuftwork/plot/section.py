"""Figures of sections: outline, pressure, state of the layers, polars."""

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter

from tuftwork.plot.style import LIGHT, Theme, axes_or_new, house_style
from tuftwork.section import Polar, SectionPoint, Stack

_MINUS = FuncFormatter(lambda v, _: f"{v:g}".replace("-", "\N{MINUS SIGN}"))


def outline(stack: Stack, *, ax: Axes | None = None, theme: Theme = LIGHT) -> Axes:
    """Draw the elements in place, suction side up, lengths over the total chord."""
    ax = axes_or_new(ax, theme, height=55.0)
    with house_style(theme):
        for c in stack.elements:
            ax.fill(c.x, c.y, facecolor=theme.hair, edgecolor=theme.ink, linewidth=0.9)
        ax.set_aspect("equal")
        ax.set_xlabel("x [chord]")
        ax.set_ylabel("y [chord]")
        ax.yaxis.set_major_formatter(_MINUS)
    return ax


def pressure(
    point: SectionPoint, *, ax: Axes | None = None, theme: Theme = LIGHT, label: str = ""
) -> Axes:
    """Draw the pressure coefficient along each element, suction up.

    Parameters
    ----------
    point
        A solved section.
    ax, theme
        To draw on, and its colours.
    label
        For a legend when two designs share the axes.
    """
    ax = axes_or_new(ax, theme)
    with house_style(theme):
        colours = (theme.ink, theme.rear, theme.front, theme.faint)
        for k, (x, cp) in enumerate(zip(point.x, point.pressure, strict=True)):
            ax.plot(
                x,
                cp,
                color=colours[k % 4],
                linewidth=1.3,
                label=label if k == 0 and label else None,
            )
        ax.axhline(0.0, color=theme.hair, linewidth=0.6, zorder=0)
        low = min(float(cp.min()) for cp in point.pressure)
        ax.set_ylim(max(1.15, 1.0 - 0.02 * low), 1.06 * low)
        for line in point.lines:
            if line.side == "wake" or line.separation is None:
                continue
            x = point.x[line.element]
            at = float(x.min() + line.separation * np.ptp(x))
            edge = float(point.pressure[line.element][0])
            ax.plot([at], [edge], marker="|", markersize=11, color=theme.tuft)
            ax.annotate(
                "separates", (at, edge), xytext=(0, 9), textcoords="offset points",
                ha="right", fontsize=8, color=theme.tuft,
            )  # fmt: skip
        ax.set_xlabel("x [chord]")
        ax.set_ylabel("pressure coefficient [-]")
        ax.yaxis.set_major_formatter(_MINUS)
        if label:
            ax.legend()
    return ax


def layers(point: SectionPoint, *, ax: Axes | None = None, theme: Theme = LIGHT) -> Axes:
    """Draw the section with the displacement of its layers and wakes, to scale.

    Turbulent parts are filled darker; where a layer has separated the fill takes the colour of
    attention.
    """
    ax = axes_or_new(ax, theme, height=60.0)
    with house_style(theme):
        for x, y in zip(point.x, point.y, strict=True):
            ax.fill(x, y, facecolor=theme.hair, edgecolor=theme.ink, linewidth=0.8)
        for line in point.lines:
            if line.side == "wake":
                for sign in (-0.5, 0.5):
                    ax.plot(
                        line.x, line.y + sign * line.delta_star,
                        color=theme.faint, linewidth=0.7, linestyle=(0, (4, 3)),
                    )  # fmt: skip
                continue
            tx, ty = np.gradient(line.x), np.gradient(line.y)
            size = np.hypot(tx, ty)
            x0, y0 = point.x[line.element], point.y[line.element]
            middle = (float(x0.mean()), float(y0.mean()))
            nx, ny = -ty / size, tx / size
            away = np.sum(nx * (line.x - middle[0]) + ny * (line.y - middle[1])) > 0
            s = 1.0 if away else -1.0
            ox, oy = line.x + s * nx * line.delta_star, line.y + s * ny * line.delta_star
            apart = line.separation is not None
            ax.fill(
                np.concatenate([line.x, ox[::-1]]),
                np.concatenate([line.y, oy[::-1]]),
                color=theme.tuft if apart else theme.front,
                alpha=0.45,
                linewidth=0,
            )
        ax.set_aspect("equal")
        right = max(float(x.max()) for x in point.x)
        ax.set_xlim(min(float(x.min()) for x in point.x) - 0.03, right + 0.25)
        ax.set_xlabel("x [chord]")
        ax.set_ylabel("y [chord]")
        ax.yaxis.set_major_formatter(_MINUS)
    return ax


def polars(
    curves: Sequence[tuple[str, Polar]],
    *,
    against: str = "alpha",
    ax: Axes | None = None,
    theme: Theme = LIGHT,
) -> Axes:
    """Draw lift against incidence, or against drag with ``against="drag"``.

    The band is that of the lag constants; rings are points beyond separation (trend only), crosses
    on the axis are points without an answer.

    Parameters
    ----------
    curves
        Names and polars; two designs side by side are two entries.
    against
        ``"alpha"`` or ``"drag"``.
    """
    ax = axes_or_new(ax, theme)
    with house_style(theme):
        colours = (theme.ink, theme.rear, theme.front, theme.faint)
        for k, (name, p) in enumerate(curves):
            colour = colours[k % 4]
            x = np.rad2deg(p.alpha) if against == "alpha" else 1e4 * p.drag
            good = np.array([s in ("converged", "settled") for s in p.state])
            good &= p.nose_suction <= 1.0
            weak = ~good & ~np.isnan(p.lift)
            if against == "alpha":
                ax.fill_between(x, p.lift_low, p.lift_high, color=colour, alpha=0.16, linewidth=0)
                failed = np.isnan(p.lift)
                ax.plot(x[failed], np.zeros(int(failed.sum())), "x", color=theme.wrong)
            ax.plot(
                np.where(good, x, np.nan), np.where(good, p.lift, np.nan), color=colour, label=name
            )
            ax.plot(x[weak], p.lift[weak], "o", mfc="none", color=colour, markersize=4)
        ax.axhline(0.0, color=theme.hair, linewidth=0.6, zorder=0)
        ax.set_xlabel("incidence [°]" if against == "alpha" else "drag coefficient × 10⁴ [-]")
        ax.set_ylabel("lift coefficient [-]")
        for axis in (ax.xaxis, ax.yaxis):
            axis.set_major_formatter(_MINUS)
        if len(curves) > 1:
            ax.legend(loc="lower right")
    return ax
