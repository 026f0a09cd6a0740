"""Times of the floor engine: one state cold and warm, a fine one with strakes, a table read."""

from dataclasses import replace
from time import process_time
from typing import Any

import numpy as np
import pytest

from tuftwork.floor import FloorClosure, Stand, Strake, plane_diffuser, solve_plan
from tuftwork.floor.cause import fall_cause
from tuftwork.floor.line import solve_line
from tuftwork.floor.table import FloorTable, evaluate

SHAPE = plane_diffuser(
    width=1.52, front=-0.35, kick=2.62, exit=3.6, angle=np.radians(11), diffuser_width=1.1
)
CLOSURE = FloorClosure(reynolds=4e6)


def _stand(rear: float) -> Stand:
    return Stand(front=0.045, rear=rear, wheelbase=2.62)


@pytest.fixture(scope="module", autouse=True)
def compiled() -> None:
    solve_plan(SHAPE, _stand(0.06), CLOSURE)


def test_one_state_cold(benchmark: Any) -> None:
    # aim: below 100 ms on a quiet core
    benchmark(lambda: solve_plan(SHAPE, _stand(0.06), CLOSURE))


def test_one_state_warm_from_a_neighbour(benchmark: Any) -> None:
    # aim: below 15 ms on a quiet core
    near = solve_plan(SHAPE, _stand(0.06), CLOSURE)
    benchmark(lambda: solve_plan(SHAPE, _stand(0.061), CLOSURE, near=near))


def test_the_width_averaged_channel_warm(benchmark: Any) -> None:
    near = solve_line(SHAPE, _stand(0.06), CLOSURE)
    benchmark(lambda: solve_line(SHAPE, _stand(0.061), CLOSURE, start=near))


def test_a_fine_grid_with_strakes(benchmark: Any) -> None:
    # aim: below 0.5 s on a quiet core
    fences = tuple(Strake(start=2.6, end=3.6, offset=o, gap=0.4) for o in (0.18, 0.36))
    shape = replace(SHAPE, strakes=fences)
    benchmark.pedantic(lambda: solve_plan(shape, _stand(0.06), CLOSURE, n_x=120, n_y=40), rounds=3)


def test_a_neighbour_saves_most_and_cells_cost_what_they_must(benchmark: Any) -> None:
    # ratios in one run: warm against cold some 0.2, 120 x 40 with strakes against 60 x 10 cold some
    # 8 for eight times the cells, a cause of a fall (seven states) below four cold states
    near = solve_plan(SHAPE, _stand(0.06), CLOSURE)
    fences = tuple(Strake(start=2.6, end=3.6, offset=o, gap=0.4) for o in (0.18, 0.36))
    fenced = replace(SHAPE, strakes=fences)

    def seconds(what: Any, times: int) -> float:
        taken = []
        for _ in range(times):
            begun = process_time()
            what()
            taken.append(process_time() - begun)
        return float(np.median(taken))

    cold = seconds(lambda: solve_plan(SHAPE, _stand(0.06), CLOSURE), 7)
    warm = seconds(lambda: solve_plan(SHAPE, _stand(0.061), CLOSURE, near=near), 7)
    fine = seconds(lambda: solve_plan(fenced, _stand(0.06), CLOSURE, n_x=120, n_y=40), 3)
    why = seconds(lambda: fall_cause(SHAPE, _stand(0.06), _stand(0.045), CLOSURE), 3)
    ratios = {"warm": warm / cold, "fine": fine / cold, "cause": why / cold}
    benchmark.extra_info.update(ratios)
    benchmark(lambda: None)
    assert ratios["warm"] < 0.7
    assert ratios["fine"] < 25
    assert ratios["cause"] < 8


def test_a_map_of_draws_from_a_table(benchmark: Any) -> None:
    # 400 cells by 256 draws
    dice = np.random.default_rng(0)
    table = FloorTable(
        front=np.linspace(0.02, 0.08, 5), rear=np.linspace(0.03, 0.1, 7),
        terms=dice.normal(0.0, 0.05, (5, 7, 4, 15)), slopes=np.zeros((0, 2)), lengths=(),
        scale=1.0, error=0.05, peak=np.full(5, np.nan), wheelbase=2.6, notices=(),
    )  # fmt: skip
    draws = {
        "exit_pressure": dice.normal(-0.3, 0.05, 256), "discharge": dice.normal(0.5, 0.05, 256),
        "mixing": dice.normal(0.5, 0.1, 256), "head": np.ones(256),
    }  # fmt: skip
    front = np.linspace(0.03, 0.07, 400)[:, None]
    rear = np.linspace(0.04, 0.09, 400)[:, None]
    benchmark(lambda: evaluate(table, front=front, rear=rear, **draws))
