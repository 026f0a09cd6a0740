"""Figures of cooling and brakes: forecast, blanking chart, exits compared, the net, disc trace."""

from collections.abc import Mapping, Sequence
from typing import Any

import networkx as nx
import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import FancyArrowPatch

from tuftwork.cooling import (
    AirNet,
    BlankingChart,
    CoolingState,
    DiscHistory,
    ExitChoice,
    Forecast,
    Restriction,
)
from tuftwork.plot.style import (
    LIGHT,
    Theme,
    axes_or_new,
    even_map,
    fan,
    house_style,
    name_line,
    range_bar,
)

_ZERO_C = 273.15  # [K]
_OUTSIDE = "outside"


def forecast(
    result: Forecast, *, place: int = 0, ax: Axes | None = None, theme: Theme = LIGHT
) -> Axes:
    """Draw a loop's temperature against ambient with its range, the limit and the risk.

    Parameters
    ----------
    result
        Of ``forecast_temperature``.
    place
        Index of the place.
    ax, theme
        To draw on, colours.

    Returns
    -------
    axes
        Ambient along the bottom, both in °C; the risk stands in words at each fifth point.
    """
    ax = axes_or_new(ax, theme)
    with house_style(theme):
        x = result.ambient - _ZERO_C
        limit = result.limit - _ZERO_C
        fan(ax, x, result.draws[place] - _ZERO_C, theme.ink)
        ax.axhline(limit, color=theme.wrong, linewidth=1.0, linestyle=(0, (4, 2)))
        ax.text(x[-1], limit, f"limit {limit:.0f} °C", color=theme.wrong, va="center", ha="right",
                fontsize=8.5, bbox=_plate(theme))  # fmt: skip
        top = float(np.quantile(result.draws[place], 0.9, axis=1).max()) - _ZERO_C
        step = max(1, len(x) // 5)
        for k in range(0, len(x), step):
            ax.annotate(
                f"{100 * result.probability[place, k]:.0f} %",
                (x[k], 0.0), xycoords=("data", "axes fraction"), xytext=(0, 5),
                textcoords="offset points", ha="center", fontsize=8, color=theme.faint,
            )  # fmt: skip
        ax.set_ylim(top=top + 0.06 * (top - x[0]))
        ax.grid(axis="y")
        ax.set_xlabel("ambient air [°C]; figures above the axis: chance of crossing the limit")
        ax.set_ylabel(f"hottest {result.loop} [°C]")
        ax.set_title(f"{result.places[place]}: {result.loop} by ambient, 50 and 80 % range")
    return ax


def blanking(result: BlankingChart, *, ax: Axes | None = None, theme: Theme = LIGHT) -> Axes:
    """Draw temperature by ambient and blanking, the line of accepted risk, and the advice.

    Parameters
    ----------
    result
        Of ``blanking_chart``.
    ax, theme
        To draw on, colours.

    Returns
    -------
    axes
        Ambient [°C] along the bottom, blanking [% of the face] up.
    """
    ax = axes_or_new(ax, theme)
    with house_style(theme):
        x, y = result.ambient - _ZERO_C, 100.0 * result.blanking
        celsius = result.temperature.T - _ZERO_C
        field = ax.contourf(x, y, celsius, levels=12, cmap=even_map(theme))
        lines = ax.contour(x, y, celsius, levels=np.asarray(field.levels)[::2], colors=theme.ink,
                           linewidths=0.5)  # fmt: skip
        ax.clabel(lines, fmt="%.0f °C", fontsize=8)
        risks = result.probability
        if float(risks.min()) < 0.1 and float(risks.max()) > 0.1:
            risk = ax.contour(x, y, result.probability.T, levels=[0.1], colors=theme.tuft,
                              linewidths=2.0)  # fmt: skip
            ax.clabel(risk, fmt={0.1: "1 in 10"}, fontsize=8.5)
        ax.plot(x, 100.0 * result.advice, "o", color=theme.ink, markersize=5, clip_on=False,
                markeredgecolor=theme.paper)  # fmt: skip
        ax.set_xlabel("ambient air [°C]")
        ax.set_ylabel("blanked share of the face [%]")
        ax.set_title(
            f"Median {result.loop}; dots: most blanking below {result.limit - _ZERO_C:.0f} °C"
        )
    return ax


def exits(
    choices: Sequence[ExitChoice], limit: float, *, ax: Axes | None = None, theme: Theme = LIGHT
) -> Axes:
    """Draw the temperature of each exit place with its needed area, drag and balance in words.

    Parameters
    ----------
    choices
        Of ``compare_exits``.
    limit : ()
        [K]
    ax, theme
        To draw on, colours.

    Returns
    -------
    axes
        Temperature [°C] along the bottom, one row a place.
    """
    ax = axes_or_new(ax, theme, height=15.0 * len(choices) + 28)
    with house_style(theme):
        for row, choice in enumerate(choices):
            colour = theme.wrong if choice.probability > 0.5 else theme.ink
            range_bar(ax, row, choice.temperature - _ZERO_C, colour)
            ax.annotate(_in_words(choice), (0.0, row), xycoords=("axes fraction", "data"),
                        xytext=(4, -13), textcoords="offset points", fontsize=8,
                        color=theme.faint, va="center", bbox=_plate(theme))  # fmt: skip
        ax.axvline(limit - _ZERO_C, color=theme.wrong, linewidth=1.0, linestyle=(0, (4, 2)))
        ax.text(limit - _ZERO_C, -0.62, f" limit {limit - _ZERO_C:.0f} °C", color=theme.wrong,
                fontsize=8.5, va="center")  # fmt: skip
        ax.set_yticks(range(len(choices)), [c.place for c in choices])
        ax.set_ylim(len(choices) - 0.35, -0.8)
        ax.tick_params(axis="y", length=0)
        ax.grid(axis="x")
        ax.set_xlabel("hottest coolant with the present area [°C]; 50 and 80 % range")
    return ax


def restriction(result: Restriction, *, ax: Axes | None = None, theme: Theme = LIGHT) -> Axes:
    """Draw what each part would gain if it were a quarter larger; the restriction stands first.

    Parameters
    ----------
    result
        Of ``find_restriction``.
    ax, theme
        To draw on, colours.

    Returns
    -------
    axes
        Median temperature drop [K] along the bottom.
    """
    ranked = sorted(result.gain.items(), key=lambda item: -item[1])
    ax = axes_or_new(ax, theme, height=8.0 * len(ranked) + 24)
    with house_style(theme):
        widest = max(value for _, value in ranked)
        for row, (name, value) in enumerate(ranked):
            colour = theme.tuft if name == result.name else theme.faint
            ax.barh(row, value, 0.5, color=colour, linewidth=0)
            share = result.share.get(name, 0.0)
            ax.text(max(value, 0.0) + 0.01 * widest, row,
                    f" {value:.1f} K; spends {100 * share:.0f} % of the drive", va="center",
                    fontsize=8, color=theme.ink)  # fmt: skip
        ax.set_yticks(range(len(ranked)), [name for name, _ in ranked])
        ax.set_ylim(len(ranked) - 0.5, -0.5)
        ax.set_xlim(right=1.45 * widest)
        ax.tick_params(axis="y", length=0)
        ax.axvline(0.0, color=theme.ink, linewidth=0.8)
        ax.set_xlabel("drop of the median temperature if the part were a quarter larger [K]")
        ax.set_title(f"{result.kind} {result.name} restricts")
    return ax


def network(
    net: AirNet, state: CoolingState, *, ax: Axes | None = None, theme: Theme = LIGHT
) -> Axes:
    """Draw the air net: width of an edge is its flow; name, flow, loss and heat stand on it.

    Parameters
    ----------
    net, state
        The net and its solution.
    ax, theme
        To draw on, colours.

    Returns
    -------
    axes
        Air runs from left to right; a part that runs backwards is drawn in the tuft's colour.
    """
    ax = axes_or_new(ax, theme, height=95.0)
    air = state.air
    flows = {name: float(np.median(air.of(name))) for name in air.names}
    edges, place = _laid_out(net, flows)
    largest = max(abs(m) for m in flows.values()) or 1.0
    with house_style(theme):
        for name, start, end in edges:
            colour = theme.tuft if name in air.reversed_parts else theme.front
            a, b = place[start], place[end]
            ax.add_patch(FancyArrowPatch(
                a, b, arrowstyle="-|>", mutation_scale=9, color=colour, shrinkA=7, shrinkB=7,
                linewidth=0.8 + 5.0 * abs(flows[name]) / largest, alpha=0.75,
            ))  # fmt: skip
            # a falling arrow passes under the node it leaves: its words stand further on
            on = 0.5 if abs(b[1] - a[1]) < 0.3 else 0.74
            ax.annotate(_edge_words(state, name, flows[name]), (a[0] + on * (b[0] - a[0]),
                        a[1] + on * (b[1] - a[1])), xytext=(0, 7), textcoords="offset points",
                        ha="center", va="bottom", fontsize=7.5, color=theme.ink,
                        bbox=_plate(theme))  # fmt: skip
        falls = {start for _, start, end in edges if place[end][1] < place[start][1] - 0.3}
        for node, (x, y) in place.items():
            is_out = node.startswith(_OUTSIDE)
            ax.plot(x, y, "o", markersize=4 if is_out else 7, markeredgecolor=theme.paper,
                    color=theme.faint if is_out else theme.ink)  # fmt: skip
            if not is_out:
                p = float(np.median(air.at(node))) / 1e3
                t = float(np.median(air.at(node, "temperature"))) - _ZERO_C
                ax.annotate(f"{node}\n{p:+.2f} kPa, {t:.0f} °C".replace("-", "\u2212"), (x, y),
                            xytext=(2 if node in falls else 0, -9), textcoords="offset points",
                            ha="right" if node in falls else "center", va="top",
                            fontsize=7.5, color=theme.faint)  # fmt: skip
        ax.set_axis_off()
        ax.margins(0.07, 0.16)
    return ax


def disc_trace(
    histories: Mapping[str, DiscHistory], *, ax: Axes | None = None, theme: Theme = LIGHT,
    window: tuple[float, float] | None = None,
) -> Axes:  # fmt: skip
    """Draw the surface temperature of a disc over a stint for several options.

    Parameters
    ----------
    histories
        Name of an option to its result.
    ax, theme
        To draw on, colours.
    window
        Working window of the disc, shaded. [K]

    Returns
    -------
    axes
        Time [s] along the bottom, temperature [°C] up.
    """
    ax = axes_or_new(ax, theme)
    with house_style(theme):
        if window is not None:
            low, high = window[0] - _ZERO_C, window[1] - _ZERO_C
            ax.axhspan(low, high, color=theme.ok, alpha=0.10, linewidth=0)
            ax.text(0.005, high, "working window", color=theme.ok, va="top", fontsize=8.5,
                    transform=ax.get_yaxis_transform())  # fmt: skip
        colours = (theme.front, theme.rear, theme.ink, theme.doubt)
        ends: list[tuple[float, float, str, str]] = []
        for k, (name, history) in enumerate(histories.items()):
            colour = colours[k % len(colours)]
            every = max(1, len(history.time) // 1500)
            time, surface = history.time[::every], history.surface[::every] - _ZERO_C
            fan(ax, time, surface, colour)
            ends.append((float(np.median(surface[-1])), float(time[-1]), name, colour))
        for y, x, name, colour in _apart(ends, 0.05 * float(np.ptp(ax.get_ylim()))):
            name_line(ax, x, y, name, colour)
        ax.grid(axis="y")
        ax.set_xlabel("time [s]")
        ax.set_ylabel("disc surface [°C]")
        ax.margins(x=0.0)
        low_x, high_x = ax.get_xlim()
        ax.set_xlim(low_x, high_x + 0.16 * (high_x - low_x))
    return ax


def legend_of_flow(ax: Axes, theme: Theme = LIGHT) -> None:
    """Add the legend of the net's two colours."""
    ways = (("as drawn", theme.front), ("runs backwards", theme.tuft))
    ax.legend(handles=[Line2D([], [], color=c, label=t, linewidth=3) for t, c in ways],
              loc="lower left", ncols=2)  # fmt: skip


def _plate(theme: Theme) -> dict[str, Any]:
    """Return a patch of paper behind text, so that lines do not cross it."""
    return {"facecolor": theme.paper, "edgecolor": "none", "pad": 1.0}


def _in_words(choice: ExitChoice) -> str:
    drag, front, rear = (
        100.0 * float(np.median(x))
        for x in (choice.change.CxS, choice.change.CzSf, choice.change.CzSr)
    )
    need = (
        f"needs {choice.sized.needed:.3f} m²" if choice.sized.is_reachable else "no area suffices"
    )
    text = (
        f"{need}; P(over) {100 * choice.probability:.0f} %; drag {drag:+.1f}, front {front:+.1f}, "
        f"rear {rear:+.1f} points; {choice.legality}"
    )
    return text.replace("-", "\u2212")


def _edge_words(state: CoolingState, name: str, flow: float) -> str:
    loss = float(np.median(state.air.of(name, "loss")))
    heat = float(np.median(state.air.of(name, "heat"))) / 1e3
    words = f"{name}\n{abs(flow):.2f} kg/s, {loss:.0f} Pa"
    return words + (f", {heat:.0f} kW" if heat > 0.05 else "")


def _laid_out(
    net: AirNet, flows: Mapping[str, float]
) -> tuple[list[tuple[str, str, str]], dict[str, tuple[float, float]]]:
    """Return edges in flow direction with their own outside points, and places by depth."""
    graph: Any = nx.DiGraph()
    edges: list[tuple[str, str, str]] = []
    for part in net.elements:
        ways = [f"{_OUTSIDE} {part.name}" if n == _OUTSIDE else n for n in (part.start, part.end)]
        if flows[part.name] < 0:
            ways.reverse()
        edges.append((part.name, ways[0], ways[1]))
        graph.add_edge(*ways)
    condensed = nx.condensation(graph)
    depth: dict[str, int] = {}
    for layer, group in enumerate(nx.topological_generations(condensed)):
        for member in group:
            for node in condensed.nodes[member]["members"]:
                depth[node] = layer
    for node in graph:  # what only feeds stands just ahead of what it feeds
        if graph.in_degree(node) == 0:
            depth[node] = min(depth[n] for n in graph.successors(node)) - 1
    return edges, _stacked(graph, depth)


def _stacked(graph: Any, depth: Mapping[str, int]) -> dict[str, tuple[float, float]]:
    """Place nodes by depth; each near the mean height of its feeders, kept apart."""
    place: dict[str, tuple[float, float]] = {}
    for layer in sorted(set(depth.values())):
        here = [n for n in graph if depth[n] == layer]
        wanted = {}
        for k, node in enumerate(here):
            above = [place[n][1] for n in graph.predecessors(node) if n in place]
            wanted[node] = float(np.mean(above)) if above else -2.0 * k - len(place)
        last = np.inf
        for node in sorted(here, key=lambda n: -wanted[n]):
            y = min(wanted[node], last - 1.0)
            place[node] = (float(layer), y)
            last = y
    return place


def _apart(
    ends: Sequence[tuple[float, float, str, str]], least: float
) -> list[tuple[float, float, str, str]]:
    """Return labels moved so far apart that they can be read."""
    out: list[tuple[float, float, str, str]] = []
    for y, x, name, colour in sorted(ends):
        low = out[-1][0] + least if out else y
        out.append((max(y, low), x, name, colour))
    return out
