"""What stands beside a floor and in it moves its table as it moves the engine."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from tuftwork.floor import Block, FloorClosure, Stand, solve_plan
from tuftwork.floor.spec import FloorSpec
from tuftwork.floor.table import FloorTable, closure_at, evaluate
from tuftwork.floor.table_make import TableSize, floor_table

SPEC = FloorSpec(
    width=1.5, front_station=-0.3, kick_station=2.6, exit_station=3.5,
    diffuser_angle=np.radians(9.0), diffuser_width=1.5, edge_gap=None, nose=(), tunnels=(),
    strakes=(), side=((-0.3, -0.05), (2.6, 0.1)), wheelbase=2.6, front=(0.03, 0.07),
    rear=(0.04, 0.09), reynolds=3.3e6,
    blocks=(Block(start=-0.2, end=0.3, inner=0.3, outer=0.75, share=0.4, loss=0.5),),
)  # fmt: skip
FRONT, REAR = 0.05, 0.065
MIDDLE = closure_at(np.zeros(4), FloorClosure())


@pytest.fixture(scope="module")
def table() -> FloorTable:
    return floor_table(
        SPEC.shape(), SPEC.closure(), front=SPEC.front, rear=SPEC.rear, wheelbase=SPEC.wheelbase,
        lengths=SPEC.beside, moved=SPEC.moved,
        size=TableSize(front=3, rear=4, design=16, trials=4),
    )  # fmt: skip


def load_of(spec: FloorSpec) -> float:
    own = closure_at(np.zeros(4), spec.closure())
    stand = Stand(front=FRONT, rear=REAR, wheelbase=spec.wheelbase)
    return solve_plan(spec.shape(), stand, own, n_x=36, n_y=10).downforce


def told(table: FloorTable, name: str, change: float) -> float:
    one = np.ones(1)
    found = evaluate(
        table, front=FRONT * one, rear=REAR * one, exit_pressure=MIDDLE.exit_pressure * one,
        discharge=MIDDLE.discharge * one, mixing=MIDDLE.mixing * one, head=MIDDLE.head * one,
        lengths={name: change * one},
    )  # fmt: skip
    return float(found.downforce[0])


def test_names_cover_what_the_channel_table_can_give_with_a_range() -> None:
    assert SPEC.beside == (
        "channel.side.0.pressure", "channel.side.1.pressure",
        "channel.blocks.0.share", "channel.blocks.0.loss",
    )  # fmt: skip
    assert SPEC.value("channel.side.1.pressure") == 0.1
    assert SPEC.value("channel.blocks.0.loss") == 0.5


@pytest.mark.parametrize(
    ("name", "change"),
    [("channel.side.1.pressure", 0.06), ("channel.side.0.pressure", -0.06),
     ("channel.blocks.0.share", 0.3), ("channel.blocks.0.loss", 0.5)],
)  # fmt: skip
def test_pressures_beside_and_blocks_move_the_table_as_they_move_the_engine(
    table: FloorTable, name: str, change: float
) -> None:
    _, where, place, key = name.split(".")
    rows = list(getattr(SPEC, where))
    if where == "side":
        rows[int(place)] = (rows[int(place)][0], rows[int(place)][1] + change)
    else:
        rows[int(place)] = replace(rows[int(place)], **{key: getattr(rows[0], key) + change})
    beside: dict[str, Any] = {where: tuple(rows)}
    by_engine = np.log(load_of(replace(SPEC, **beside)) / load_of(SPEC))
    by_table = np.log(told(table, name, change) / told(table, name, 0.0))
    # a slope is a mean over four ride heights: a third of the change is its budget
    assert by_table == pytest.approx(by_engine, abs=0.33 * abs(by_engine) + 0.003)
    assert abs(by_engine) > 0.004
