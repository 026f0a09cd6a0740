"""The map as a labelled data set: CF-style attributes, units, signs, ranges, origin per cell."""

from dataclasses import fields
from hashlib import sha256
from typing import TYPE_CHECKING, Any

import numpy as np

from tuftwork.aeromap.map import FIELDS, AeroMap, AirAt, MapHeader, header_lines
from tuftwork.errors import InputError
from tuftwork.quantity import ORIGINS, Source

if TYPE_CHECKING:
    import xarray as xr

FORM = 1
"""Version of the data set's form."""

_SYMBOLS = {"downforce_front": "CzSf", "downforce_rear": "CzSr", "drag": "CxS"}
_LONG = {
    "downforce_front": "downforce area carried by the front axle",
    "downforce_rear": "downforce area carried by the rear axle",
    "drag": "drag area",
}
_SIGNS = {
    "downforce_front": "downforce positive",
    "downforce_rear": "downforce positive",
    "drag": "drag positive, rearward",
}
_CONVENTION = (
    "SAE J1594: x rearward, y to the car's right, z up; forces resolved at ground level, mid "
    "wheelbase, mid track; loads stated at the axles' contact patches"
)
_RULE = (
    "bicubic Hermite with slopes limited to the range of each cell's corners; "
    "load [N] = value [m2] x 0.5 x density x speed^2, with the density of the day, never a rule"
)


def to_dataset(aero_map: AeroMap) -> "xr.Dataset":
    """Return the map as a data set.

    Every field stands in it three times: all draws, and the ends of its 80 % range with the median
    between them (``CzSf_low``, ``CzSf_best``, ``CzSf_high``), for readers who want no draws.

    Parameters
    ----------
    aero_map
        The map.

    Returns
    -------
    dataset
        Dimensions ``state``, ``hf``, ``hr``, ``draw``; the header stands in its attributes.
    """
    import xarray as xr

    cell = ("state", "hf", "hr")
    variables: dict[str, Any] = {}
    for name in FIELDS:
        values = getattr(aero_map, name)
        symbol, about = _SYMBOLS[name], _about(name)
        variables[symbol] = ((*cell, "draw"), values, about)
        low, best, high = np.quantile(values, (0.1, 0.5, 0.9), axis=-1)
        for end, text, array in (
            ("low", "10 % quantile of draws", low),
            ("best", "median of draws", best),
            ("high", "90 % quantile of draws", high),
        ):
            extra = {"cell_methods": f"draw: {text}", "long_name": f"{_LONG[name]}, {text}"}
            variables[f"{symbol}_{end}"] = (cell, array, {**about, **extra})
        variables[f"{symbol}_uncertainty"] = (cell, np.std(values, axis=-1), {
            "long_name": f"standard uncertainty of the {_LONG[name]}", "units": "m2",
            "cell_methods": "draw: standard_deviation",
        })  # fmt: skip
    variables["origin"] = (cell, aero_map.origin.astype(np.int8), {
        "long_name": "how the cell came to be known",
        "flag_values": np.arange(len(ORIGINS), dtype=np.int8),
        "flag_meanings": " ".join(ORIGINS),
    })  # fmt: skip
    for name, flags, text in (
        ("valid", aero_map.valid, "whether the cell holds numbers"),
        ("extrapolated", aero_map.extrapolated, "whether the cell lies outside the checked range"),
    ):
        variables[name] = (cell, flags.astype(np.int8), {
            "long_name": text,
            "flag_values": np.array([0, 1], dtype=np.int8),
            "flag_meanings": "no yes",
        })  # fmt: skip
    return xr.Dataset(variables, coords=_coordinates(aero_map), attrs=_attributes(aero_map))


def from_dataset(dataset: "xr.Dataset") -> AeroMap:
    """Return the map that a data set holds.

    Parameters
    ----------
    dataset
        As :func:`to_dataset` makes it.

    Returns
    -------
    aero_map
        The same numbers, bit for bit.

    Raises
    ------
    InputError
        If the form is unknown, a variable is missing, or the numbers do not give the checksum
        that is written in it.
    """
    attributes = dataset.attrs
    if int(attributes.get("form", 0)) != FORM:
        raise InputError("form", str(attributes.get("form")), "", f"must be {FORM}")
    needed = [*_SYMBOLS.values(), "hf", "hr", "state", "origin", "valid", "extrapolated"]
    missing = [name for name in needed if name not in dataset.variables]
    if missing:
        raise InputError("variables", ", ".join(missing), "", "are missing from the map")
    order = ("state", "hf", "hr")

    def cells(name: str) -> Any:
        return dataset[name].transpose(*order).to_numpy()

    draws = [
        np.ascontiguousarray(dataset[_SYMBOLS[name]].transpose(*order, "draw").to_numpy(), float)
        for name in FIELDS
    ]
    made = AeroMap(
        front=np.asarray(dataset["hf"].to_numpy(), dtype=float),
        rear=np.asarray(dataset["hr"].to_numpy(), dtype=float),
        states=tuple(str(name) for name in dataset["state"].to_numpy()),
        downforce_front=draws[0], downforce_rear=draws[1], drag=draws[2],
        air=AirAt(**{key: float(attributes[f"made_at_{key}"]) for key in _AIR_UNITS}),
        origin=cells("origin").astype(np.int64),
        valid=cells("valid").astype(bool), extrapolated=cells("extrapolated").astype(bool),
        sources=tuple(_source(line) for line in _lines(attributes, "references")),
        notices=_lines(attributes, "notices"),
        header=MapHeader(**{f.name: str(attributes.get(f.name, "")) for f in fields(MapHeader)}),
    )  # fmt: skip
    written = str(attributes.get("checksum", ""))
    if written != made.digest:
        limit = f"the numbers give {made.digest[:20]}…: they were changed after writing"
        raise InputError("checksum", f"{written[:20]}…", "", limit)
    whole = attributes.get(WHOLE)
    if whole is not None and str(whole) != whole_checksum(dataset):
        limit = "numbers beside the axle loads were changed after writing"
        raise InputError(WHOLE, f"{str(whole)[:20]}…", "", limit)
    return made


WHOLE = "checksum_whole"
"""Attribute with the checksum of every number, where a map holds more than axle loads."""


def whole_checksum(dataset: "xr.Dataset") -> str:
    """Return the checksum of every number of a data set, side force, moments and flow included."""
    made = sha256()
    for name in sorted(str(n) for n in dataset.variables):
        values = np.ascontiguousarray(dataset[name].to_numpy())
        if values.dtype.kind not in "fiub":
            continue
        made.update(f"{name}{dataset[name].dims}{values.shape}".encode())
        # one bit pattern for every number that is none
        plain = values.astype("<f8")
        made.update(np.where(np.isnan(plain), np.nan, plain).tobytes())
    return f"sha256:{made.hexdigest()}"


_AIR_UNITS = {"speed": "m s-1", "density": "kg m-3", "viscosity": "Pa s"}


def _about(name: str) -> dict[str, str]:
    symbol = _SYMBOLS[name]
    return {
        "long_name": _LONG[name],
        "units": "m2",
        "sign": _SIGNS[name],
        "ancillary_variables": f"{symbol}_low {symbol}_high {symbol}_uncertainty origin valid "
        "extrapolated",
    }


def _coordinates(aero_map: AeroMap) -> dict[str, Any]:
    heights = {
        key: (key, axis, {
            "long_name": f"ride height of the reference plane at the {axle} axle line",
            "units": "m", "positive": "up", "datum": aero_map.header.datum,
        })
        for key, axis, axle in (("hf", aero_map.front, "front"), ("hr", aero_map.rear, "rear"))
    }  # fmt: skip
    names = np.array(aero_map.states, dtype=object)
    return {
        "state": ("state", names, {"long_name": "state of the car"}),
        **heights,
        "draw": ("draw", np.arange(aero_map.n_draw), {"long_name": "member of the ensemble"}),
    }  # fmt: skip


def _attributes(aero_map: AeroMap) -> dict[str, Any]:
    air = aero_map.air
    return {
        "Conventions": "CF-1.11",
        "title": f"Aero map of {aero_map.header.car or 'a car'}",
        "form": FORM,
        **header_lines(aero_map.header),
        "axes": _CONVENTION,
        "interpolation": _RULE,
        "range": "80 %: the 10 % and 90 % quantiles of the draws",
        **{f"made_at_{key}": float(getattr(air, key)) for key in _AIR_UNITS},
        "made_at_units": "; ".join(f"{key}: {unit}" for key, unit in _AIR_UNITS.items()),
        "references": "\n".join(f"{s.key} | {s.place} | {s.status}" for s in aero_map.sources),
        "notices": "\n".join(aero_map.notices),
        "checksum": aero_map.digest,
    }


def _lines(attributes: dict[Any, Any], key: str) -> tuple[str, ...]:
    return tuple(line for line in str(attributes.get(key, "")).split("\n") if line)


def _source(line: str) -> Source:
    key, place, status = (part.strip() for part in line.split("|"))
    return Source(key=key, place=place, status="memory" if status == "memory" else "seen")
