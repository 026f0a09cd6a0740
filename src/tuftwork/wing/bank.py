"""A car's wing worked out once: lattice tables for both sets of lag constants, and its influence.

The tables are made at best values. Draws of span, chord, end plate and gurney move them in closed
form about there, so that all draws and map cells are answered without another solution.
"""

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from tuftwork.errors import InputError
from tuftwork.quantity import Array
from tuftwork.section import Condition, Stack, gurney
from tuftwork.section.condition import ConstantSet
from tuftwork.wing.coupling import solve_wing, wing_system
from tuftwork.wing.induced import induced_velocity
from tuftwork.wing.planform import Wing
from tuftwork.wing.section_table import SectionTable, drop_of, section_table
from tuftwork.wing.spec import WingSpec, shaped_onset, wing_of
from tuftwork.wing.table import WingTable, wing_table

SETS: tuple[ConstantSet, ...] = ("default", "pessimistic")
_LEVELS = (0.6, 0.8, 1.0, 1.3, 2.0)  # [-] heights of those polars over the drawn one
_REACH = 0.09  # [m] change of height a table covers either way, where the road leaves that much
REFERENCE_TILT = np.deg2rad(4.0)  # [rad] onset in the middle that shaped tables are made at
_EXIT_HEIGHT = 0.25  # [m] of a diffuser's exit over the road


@dataclass(frozen=True, slots=True, kw_only=True)
class WingBank:
    """What a wing makes, for both sets of constants.

    Attributes
    ----------
    default, pessimistic
        Tables over incidence and change of height.
    zero_lift
        Incidence of no downforce at the drawn height. [rad]
    below
        Speed the wing adds under itself at a diffuser's exit, per square metre of downforce area,
        over the road speed. [1/m²]
    tilted, tilted_pessimistic
        The same tables in an onset of ``REFERENCE_TILT`` in the middle, shaped along the span; None
        where the onset is even.
    share
        Mean share of the onset along the span, weighted by the load as drawn. [-]
    """

    default: WingTable
    pessimistic: WingTable
    zero_lift: float
    below: float
    notices: tuple[str, ...]
    tilted: WingTable | None = None
    tilted_pessimistic: WingTable | None = None
    share: float = 1.0

    def tree(self) -> dict[str, Any]:
        """Return it as plain arrays, for a store."""
        return {
            "default": _tree_of(self.default),
            "pessimistic": _tree_of(self.pessimistic),
            "zero_lift": self.zero_lift,
            "below": self.below,
            "notices": list(self.notices),
            "share": self.share,
        } | {
            name: _tree_of(table)
            for name in ("tilted", "tilted_pessimistic")
            if (table := getattr(self, name)) is not None
        }

    @classmethod
    def of(cls, tree: dict[str, Any]) -> "WingBank":
        """Return the bank of a stored tree."""
        return cls(
            default=_table_of(tree["default"]),
            pessimistic=_table_of(tree["pessimistic"]),
            zero_lift=float(tree["zero_lift"]),
            below=float(tree["below"]),
            notices=tuple(tree["notices"]),
            tilted=_table_of(tree["tilted"]) if "tilted" in tree else None,
            tilted_pessimistic=(
                _table_of(tree["tilted_pessimistic"]) if "tilted_pessimistic" in tree else None
            ),
            share=float(tree.get("share", 1.0)),
        )


def polar_table(
    spec: WingSpec,
    stack: Stack,
    *,
    constants: ConstantSet = "default",
    n_panel: int | None = None,
    step: float | None = None,
) -> SectionTable:
    """Return the section's polars at the heights the wing needs, the gurney put on.

    Parameters
    ----------
    spec, stack
        The wing and its section.
    constants
        Set of lag constants.
    n_panel
        Panels per element.
    step
        Of the incidence. [rad]
    """
    several = len(stack.elements) > 1
    degrees = (2.0 if several or spec.is_low else 1.0) if step is None else float(np.rad2deg(step))
    # plates of a short wing leave its slotted section little; its nose stalls from 8 degrees on
    first, last = (-12.0, 8.0) if several else (-8.0, 18.0)
    tab = gurney(spec.gurney) if spec.gurney > 0.0 else None
    found = section_table(
        stack,
        Condition(reynolds=spec.reynolds, turbulence=spec.turbulence, constants=constants),
        alphas=np.deg2rad(np.arange(first, last + 0.01, degrees)),
        heights=_heights(spec, stack) if spec.is_low else (),
        n_panel=n_panel or (110 if several else 120),
    )
    if tab is None:
        return found
    shift = float(tab.lift)
    return replace(
        found,
        lift=found.lift + shift,
        drag=found.drag + float(tab.drag),
        moment=found.moment + float(tab.moment),
        stall=found.stall + float(tab.stall),
    )


def wing_bank(spec: WingSpec, stack: Stack, beat: Any = None) -> WingBank:
    """Return the tables of a wing of the project.

    Parameters
    ----------
    spec, stack
        The wing and its section.
    beat
        Told the share that is done, 0 to 1.

    Raises
    ------
    NotConverged
        If too few points of a polar converge.
    InputError
        If the wing reaches the road.
    """
    wing = wing_of(spec)
    made: dict[str, WingTable] = {}
    shaped: dict[str, WingTable] = {}
    notices: list[str] = []
    share = 1.0
    for k, constants in enumerate(SETS):
        table = polar_table(spec, stack, constants=constants)
        if beat is not None:
            beat((k + 0.7) / len(SETS))
        made[constants] = wing_table(
            wing, {"section": table}, incidence=_incidences(spec), height=_levels(spec), n_span=20
        )
        if spec.onset:
            shaped[constants] = wing_table(
                wing, {"section": table}, incidence=_incidences(spec), height=_levels(spec),
                onset=shaped_onset(spec, REFERENCE_TILT), n_span=20,
            )  # fmt: skip
        # a table's upper end is met past the stall; what did not converge there is no news
        notices += made[constants].notices
        notices += [n for n in table.notices if n.startswith("no polar")]
        if beat is not None:
            beat((k + 1.0) / len(SETS))
        if k == 0:
            below, share, more = _as_drawn(spec, wing, table)
            notices += more
    return WingBank(
        default=made["default"],
        pessimistic=made["pessimistic"],
        zero_lift=_zero_lift(made["default"]),
        below=below,
        notices=tuple(dict.fromkeys(notices)),
        tilted=shaped.get("default"),
        tilted_pessimistic=shaped.get("pessimistic"),
        share=share,
    )


def _heights(spec: WingSpec, stack: Stack) -> tuple[float, ...]:
    drawn = spec.quarter_height / spec.chord - drop_of(stack, spec.incidence)
    if not drawn > 0.05:
        raise InputError(
            "height", spec.height, "m", "the lowest point of the section is at the road",
            "Height is that of the trailing edge.",
        )  # fmt: skip
    return tuple(max(0.05, drawn * level) for level in _LEVELS)


def _incidences(spec: WingSpec) -> Array:
    if spec.is_low:
        return np.asarray(spec.incidence + np.deg2rad(np.arange(-6.0, 6.01, 1.0)))
    return np.asarray(np.deg2rad(np.arange(-8.0, 20.01, 1.0)))


def _levels(spec: WingSpec) -> Array:
    lowest = spec.quarter_height - (0.3 * spec.chord if not spec.is_low else 0.0)
    room = min(_REACH, 0.4 * lowest) if spec.is_low else min(_REACH, 0.8 * lowest)
    if not room > 0.005:
        raise InputError("height", spec.height, "m", "the wing reaches the road", "Raise it.")
    return np.linspace(-room, room, 4)


def _zero_lift(table: WingTable) -> float:
    """Angle of no load along the steepest part, where a table does not reach down to it."""
    load, grid = table.downforce_area[table.height.size // 2], table.incidence
    rising = load[: int(np.argmax(load)) + 1]
    if rising[0] < 0.0:
        return float(np.interp(0.0, rising, grid[: rising.size]))
    slope = np.gradient(load, grid)
    k = int(np.argmax(slope))
    return float(grid[k] - load[k] / max(float(slope[k]), 1e-6))


def _as_drawn(
    spec: WingSpec, wing: Wing, table: SectionTable
) -> tuple[float, float, tuple[str, ...]]:
    """Return what the wing adds under itself, its mean share of the onset, what to know of it."""
    result = solve_wing(wing_system(wing, n_span=20), {"section": table}, incidence=spec.incidence)
    x = result.x_centre if np.isfinite(result.x_centre) else 0.25 * spec.chord
    height = min(_EXIT_HEIGHT, 0.5 * spec.quarter_height)
    added = induced_velocity(result, np.array([[x, 0.0, height]]))[0, 0]
    share = 1.0
    if spec.onset:
        load = result.lift * result.chord * result.width
        shape = shaped_onset(spec, 1.0)
        share = float((load * np.interp(result.y, shape.y, shape.angle)).sum() / load.sum())
    return float(added / result.downforce_area), share, result.notices


def _tree_of(table: WingTable) -> dict[str, Any]:
    return {f.name: getattr(table, f.name) for f in fields(table) if f.name != "notices"}


def _table_of(tree: dict[str, Any]) -> WingTable:
    own = {f.name: np.asarray(tree[f.name]) for f in fields(WingTable) if f.name != "notices"}
    return WingTable(**own, notices=())
