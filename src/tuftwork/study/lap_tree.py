"""Laps as plain trees, for the store and for pages."""

import numpy as np

from tuftwork.lap import AeroTable, Circuit, Occupancy, plan_at
from tuftwork.lap.record import LapTrace
from tuftwork.study.store import Tree


def occupancy_tree(spent: Occupancy, table: AeroTable) -> Tree:
    """Return where on the map the lap is spent, with the rear axle's load beneath it."""
    seconds = spent.seconds.sum(axis=2)
    middle = 0.5 * (spent.edges_speed[1:] + spent.edges_speed[:-1])
    speed = np.sum(spent.seconds * middle, axis=2) / np.maximum(seconds, 1e-9)
    kept = {}
    for axle in ("front", "rear"):  # the part of the map around what is met
        edges, axis = getattr(spent, f"edges_{axle}"), getattr(table, f"ride_height_{axle}")
        near = np.flatnonzero((axis > edges[0] - 0.008) & (axis < edges[-1] + 0.008))
        kept[axle] = slice(max(near[0] - 1, 0), near[-1] + 2) if near.size else slice(None)
    rear = table.downforce_rear[0] if table.downforce_rear.ndim == 3 else table.downforce_rear[0, 0]
    return {
        "edges_front": spent.edges_front, "edges_rear": spent.edges_rear, "seconds": seconds,
        "speed": speed, "axis_front": table.ride_height_front[kept["front"]],
        "axis_rear": table.ride_height_rear[kept["rear"]],
        "downforce_rear": rear[kept["front"], kept["rear"]],
    }  # fmt: skip


def plan_of(circuit: Circuit) -> Tree:
    """Return the circuit's plan at about 400 places. [m]"""
    station = np.linspace(circuit.station[0], circuit.station[-1], 401)[:-1]
    x, y = plan_at(circuit, station)
    return {"station": station, "x": np.asarray(x), "y": np.asarray(y)}


def trace_tree(trace: LapTrace) -> Tree:
    """Return a trace as arrays by name."""
    return {
        name: np.asarray(getattr(trace, name), dtype=float)
        for name in LapTrace.__dataclass_fields__
    }


def trace_back(tree: Tree) -> LapTrace:
    """Return the trace a tree holds."""
    whole = {"limit": np.int64, "braking": bool, "outside": bool}
    return LapTrace(
        **{name: np.asarray(tree[name]).astype(whole.get(name, float))
           for name in LapTrace.__dataclass_fields__}
    )  # fmt: skip
