"""Where air comes in and goes out: recovery by kind of inlet, pressure by place of exit."""

import csv
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np

from tuftwork.cooling.band import Band
from tuftwork.cooling.guard import not_negative, positive, within
from tuftwork.errors import UnknownName
from tuftwork.quantity import Array, Numeric

_YAW = (np.radians([0.0, 4.0, 8.0]), np.array([0.0, -0.05, -0.03]))  # axelson1950, abstract


def inlet_kinds() -> tuple[str, ...]:
    """Return the kinds of inlet that have a default."""
    return tuple(_table("inlets.toml"))


def exit_places() -> tuple[str, ...]:
    """Return the places of exits that have a default."""
    return tuple(_table("places.toml"))


def recovery_band(kind: str, layer_over_depth: float = 0.0) -> Band:
    """Return the recovery of a kind of inlet at its design flow, with an 80 % range [-].

    Parameters
    ----------
    kind
        One of ``inlet_kinds()``.
    layer_over_depth : ()
        Boundary-layer thickness over inlet depth; matters to a submerged inlet, whose band
        moves from the thin-layer to the thick-layer one between 0 and 1.

    Raises
    ------
    UnknownName
        If the kind is not on the list.

    References
    ----------
    [mossman1948], [frick1945], from memory.
    """
    row = _row("inlets.toml", "kind", kind)
    thin = np.array(row["recovery"])
    thick = np.array(row.get("recovery_thick", row["recovery"]))
    share = min(float(not_negative("layer_over_depth", layer_over_depth, "")), 1.0)
    low, best, high = (thin + share * (thick - thin)).tolist()
    return Band(low=low, best=best, high=high, note=f"inlets.toml, {kind}", highest=1.0)


def lip_loss(kind: str) -> float:
    """Return the entry loss of a kind of inlet at standstill, on the mouth's head [-]."""
    return float(_row("inlets.toml", "kind", kind)["lip"])


def pressure_band(place: str) -> Band:
    """Return the surface pressure coefficient at an exit's place, with an 80 % range [-].

    Defaults for a closed car; a measured value always overrides them.

    Raises
    ------
    UnknownName
        If the place is not on the list.

    References
    ----------
    [hucho1998], [katz1995], from memory.
    """
    low, best, high = _row("places.toml", "place", place)["pressure"]
    return Band(low=low, best=best, high=high, note=f"places.toml, {place}")


def discharge_band(place: str) -> Band:
    """Return the discharge coefficient on the net area at a place [-].

    References
    ----------
    [iqbal2023] for louvres, abstract; [kirchhoff1869] for the least a slot contracts to.
    """
    low, best, high = _row("places.toml", "place", place)["discharge"]
    note = f"places.toml, {place}"
    return Band(low=low, best=best, high=high, note=note, lowest=0.2, highest=0.98)


def surface_gain_band(place: str) -> Band:
    """Return the downforce area a jet adds per net area at jet velocity equal to the car's [-].

    A prior without a source, to be tested on the car.
    """
    low, best, high = _row("places.toml", "place", place)["surface_gain"]
    return Band(low=low, best=best, high=high, note=f"places.toml, {place}")


def jet_recovery_band(place: str) -> Band | None:
    """Return the share of a jet's head that stays speed along the stream; None where all does [-].

    A jet that leaves over an outer surface keeps its head into the wake. One that is blown into a
    wheel well meets tyre and arch first; common practice, no source.
    """
    row = _row("places.toml", "place", place)
    if "recovery" not in row:
        return None
    low, best, high = row["recovery"]
    note = f"places.toml, {place}: common practice, no source"
    return Band(low=low, best=best, high=high, note=note, lowest=0.0, highest=1.0)


def widening_band() -> Band:
    """Return what a mouth that widens to its core loses, over a sudden step's loss [-].

    Conical diffusers of area ratio 2 and 4 lose 0.25 to 0.32 of (1 - 1/AR)² at a full angle of
    14°, 0.4 at 20°, 0.6 to 0.8 at 30° and 1.2 at 60°. The box between a mouth and a core lies
    among them, or is a step.

    References
    ----------
    [rennels2012], [idelchik2007] for the cones; that a car's box lies among them is common
    practice without a source.
    """
    note = "mouth widening to its core, over Borda and Carnot's loss"
    return Band(low=0.3, best=0.6, high=1.0, note=note, lowest=0.0, highest=1.2)


def recovery_change(kind: str, velocity_ratio: Numeric, yaw: float = 0.0) -> Numeric:
    """Return what velocity ratio and yaw add to an inlet's recovery [-].

    A submerged inlet is at its best for mouth over flight velocity of 0.4 to 0.8; below, its
    side vortices thicken the layer it swallows, above, the mouth starves. Other kinds: 0.

    References
    ----------
    [mossman1948] for the range (memory); [axelson1950] abstract for yaw (transonic data);
    the slopes outside the range are common practice without a source.
    """
    ratio = np.asarray(velocity_ratio, dtype=float)
    if kind != "submerged":
        return np.zeros(ratio.shape)
    slow, fast = np.maximum(0.4 - ratio, 0.0), np.maximum(np.minimum(ratio, 2.0) - 0.8, 0.0)
    return np.asarray(-0.30 * slow - 0.20 * fast + np.interp(abs(yaw), *_YAW))


def submerged_inlet_faults(
    ramp_angle: float, width_over_depth: float, layer_over_depth: float = 0.0
) -> tuple[str, ...]:
    """Return what departs from the design rules of a submerged inlet; empty when nothing does.

    Ramp 5° to 7°, width over depth 3 to 5, curved diverging walls, thin boundary layer.

    References
    ----------
    [mossman1948] abstract.
    """
    faults: list[str] = []
    degrees = float(np.degrees(ramp_angle))
    if not 5.0 <= degrees <= 7.0:
        faults.append(f"ramp angle {degrees:.1f}°: 5° to 7° is best")
    if not 3.0 <= width_over_depth <= 5.0:
        faults.append(f"width over depth {width_over_depth:.1f}: 3 to 5 is best")
    if layer_over_depth > 0.4:
        faults.append(
            f"boundary layer {layer_over_depth:.1f} of the depth: move it forward or use a scoop"
        )
    return tuple(faults)


@dataclass(frozen=True, slots=True, kw_only=True)
class SubmergedLip:
    """Lip of a submerged inlet: nose radius, lip thickness, floor below the skin. [m]."""

    nose_radius: float
    thickness: float
    floor: float


def submerged_lip(depth: float) -> SubmergedLip:
    """Return the lip that belongs to a submerged inlet of a depth.

    Nose radius 0.094 d, lip thickness 0.48 d; the ramp's floor then lies 1.48 d below the skin.

    Parameters
    ----------
    depth : ()
        d, of the opening. [m]

    References
    ----------
    [frick1945], second hand: a shape guide.
    """
    d = float(positive("depth", depth, "m"))
    return SubmergedLip(nose_radius=0.094 * d, thickness=0.48 * d, floor=1.48 * d)


def ramp_wall() -> tuple[Array, Array]:
    """Return x/L from the lip and half width y/B of the curved ramp walls [-].

    Lip nose radius 0.094 of the depth, lip thickness 0.48 of the depth.

    References
    ----------
    [frick1945], from memory, ±0.003.
    """
    text = files("tuftwork.cooling").joinpath("data/submerged_ramp.csv").read_text("utf-8")
    rows = list(csv.reader(line for line in text.splitlines() if not line.startswith("#")))[1:]
    points = np.array(rows, dtype=float)
    return points[:, 0].copy(), points[:, 1].copy()


def louvre_net_area(n_slot: int, length: float, gap: float, blade_shadow: float = 0.0) -> float:
    """Return the net area of louvres: the throats between blades, not the cut-out [m²].

    Parameters
    ----------
    n_slot, length, gap
        Number of slots, their length and the smallest distance between neighbours. [m]
    blade_shadow
        Share of a throat hidden by flanges, mesh or brackets. [-]
    """
    positive("length", length, "m")
    positive("gap", gap, "m")
    within("blade_shadow", blade_shadow, "", (0.0, 0.9))
    return n_slot * length * gap * (1.0 - blade_shadow)


def _row(file: str, what: str, name: str) -> dict[str, Any]:
    table = _table(file)
    if name not in table:
        raise UnknownName(what, name, table)
    return dict(table[name])


@cache
def _table(file: str) -> dict[str, Any]:
    text = files("tuftwork.cooling").joinpath(f"data/{file}").read_text(encoding="utf-8")
    return tomllib.loads(text)
