"""What the budget promises, on the demo car."""

from dataclasses import replace

import numpy as np
import pytest
from tests.unit.aeromap import halyard

from tuftwork.aeromap.budget import Budget, budget, car_loads
from tuftwork.aeromap.part import draws_of, part_models
from tuftwork.errors import NotCovered
from tuftwork.quantity import summarise

HERE = halyard.platform(44.9, 57.0, 220.0)


@pytest.fixture(scope="module")
def found() -> Budget:
    models = part_models(halyard.project())
    return budget(models, HERE, halyard.prior(), measured=halyard.measured()[3])


def test_parts_and_interactions_add_up_to_the_total_draw_by_draw(found: Budget) -> None:
    rows = [*found.of_kind("part"), *found.of_kind("interaction")]
    for field in ("front", "rear", "drag"):
        total = sum(getattr(row, field) for row in rows)
        np.testing.assert_allclose(total, getattr(found.total, field), atol=1e-12)


def test_total_is_the_load_of_the_whole_car(found: Budget) -> None:
    models = part_models(halyard.project())
    whole = car_loads(models, HERE, draws_of(models, halyard.prior()))
    np.testing.assert_allclose(found.total.front, whole.downforce_front, atol=1e-12)
    np.testing.assert_allclose(found.total.rear, whole.downforce_rear, atol=1e-12)
    np.testing.assert_allclose(found.total.drag, whole.drag, atol=1e-12)
    np.testing.assert_allclose(found.total.total, whole.downforce, atol=1e-12)


def test_interactions_are_rows_of_their_own(found: Budget) -> None:
    rows = {row.name: row for row in found.of_kind("interaction")}
    # a roof slows the air at the wing and turns it down: the first takes load, the second adds it,
    # so only the drag has a certain sign (slower air, and the force turned forward)
    assert summarise(rows["body → rear wing"].drag).high < 0
    assert float(np.std(rows["body → rear wing"].total)) > 0.01
    assert summarise(rows["rear wing → floor"].total).low > 0
    assert summarise(rows["splitter → floor"].total).high < 0
    assert "exit pressure" in rows["rear wing → floor"].note


def test_small_interactions_are_gathered_and_nothing_is_lost(found: Budget) -> None:
    others = found.others
    assert others is not None
    assert others.name == f"other interactions ({len(found.small)})"
    whole = found.total.summaries
    bound = 0.01 * max(whole["total"].best, whole["drag"].best)
    small = {row.name for row in found.small}
    for row in found.of_kind("interaction"):
        largest = max(max(abs(s.low), abs(s.high)) for s in row.summaries.values())
        assert (row.name in small) == (largest < bound)
    steps = [row for row in found.gathered if row.kind in ("part", "interaction")]
    assert steps[-1].name == others.name
    for field in ("front", "rear", "drag"):
        total = sum(getattr(row, field) for row in steps)
        np.testing.assert_allclose(total, getattr(found.total, field), atol=1e-12)
    assert [r.kind for r in found.gathered][-3:] == ["total", "measured", "difference"]


def test_one_small_interaction_stays_as_it_is(found: Budget) -> None:
    rows = [r for r in found.rows if r.kind != "interaction" or r.name == found.small[0].name]
    few = replace(found, rows=tuple(rows))
    assert few.others is None
    assert few.gathered == few.rows


def test_difference_is_measured_less_total(found: Budget) -> None:
    seen, difference = found.of_kind("measured")[0], found.of_kind("difference")[0]
    np.testing.assert_allclose(difference.total, seen.total - found.total.total, atol=1e-12)
    assert summarise(seen.front).best == pytest.approx(0.675, abs=2e-3)
    assert "M4" in seen.note


def test_a_row_without_measured_drag_says_so() -> None:
    row = halyard.measured()[3].with_values({"drag": None})
    models = part_models(halyard.project())
    rows = budget(models, HERE, halyard.prior(), measured=row).rows
    assert "no drag" in rows[-1].note
    assert np.all(rows[-1].drag == 0)


def test_rows_name_what_dominates_them(found: Budget) -> None:
    rows = {row.name: row for row in found.rows}
    assert rows["body"].dominates[0].name == "body.downforce"
    assert rows["splitter"].dominates[0].name.startswith("splitter.model.")
    assert any(i.name == "floor.model.peak_height" for i in rows["whole car"].dominates)


def test_prior_covers_the_truth_before_anything_is_measured() -> None:
    models = part_models(halyard.project())
    draws = draws_of(models, halyard.prior())
    for speed, hf, hr, front, rear, drag in halyard.TRUTH:
        whole = car_loads(models, halyard.platform(hf, hr, speed), draws)
        for field, true in (
            (whole.downforce_front, front),
            (whole.downforce_rear, rear),
            (whole.downforce, front + rear),
            (whole.drag, drag),
        ):
            seen = summarise(np.broadcast_to(field, draws["floor.width"].shape))
            assert seen.low < true < seen.high


def test_a_whole_grid_gives_what_single_points_give() -> None:
    models = part_models(halyard.project())
    draws = draws_of(models, halyard.prior())
    front, rear = np.meshgrid([40.0, 50.0, 60.0], [50.0, 60.0, 75.0], indexing="ij")
    grid = car_loads(models, halyard.platform(front[..., None], rear[..., None], 200.0), draws)
    assert grid.downforce.shape == (3, 3, halyard.prior().size)
    one = car_loads(models, halyard.platform(50.0, 75.0, 200.0), draws)
    np.testing.assert_allclose(grid.downforce[1, 2], one.downforce, atol=1e-12)
    np.testing.assert_allclose(grid.front_share[1, 2], one.front_share, atol=1e-12)


def test_notices_of_parts_reach_the_reader() -> None:
    models = part_models(halyard.project())
    draws = draws_of(models, halyard.prior())
    low = car_loads(models, halyard.platform(20.0, 30.0, 220.0), draws)
    assert any("below its height of greatest load" in n for n in low.notices)
    assert any("chokes" in n for n in low.notices)
    steep = {**draws, "rear wing.incidence": draws["rear wing.incidence"] + 0.3}
    past = car_loads(models, halyard.platform(50.0, 70.0, 220.0), steep)
    assert any("stall" in n for n in past.notices)
    high = car_loads(models, halyard.platform(600.0, 600.0, 220.0), draws)
    assert any("regimes are published" in n for n in high.notices)
    slim = {**draws, "rear wing.chord": draws["rear wing.chord"] / 3}
    narrow = car_loads(models, halyard.platform(50.0, 70.0, 220.0), slim)
    assert any("aspect ratio" in n for n in narrow.notices)


def test_budget_is_the_same_twice(found: Budget) -> None:
    models = part_models(halyard.project())
    again = budget(models, HERE, halyard.prior(), measured=halyard.measured()[3])
    for one, other in zip(found.rows, again.rows, strict=True):
        np.testing.assert_array_equal(one.total, other.total)


def test_another_platform_is_kept_with_the_budget(found: Budget) -> None:
    assert found.platform is HERE
    higher = replace(HERE, ride_height_rear=np.array([0.068]))
    models = part_models(halyard.project())
    assert (
        summarise(budget(models, higher, halyard.prior()).total.total).best
        > summarise(found.total.total).best
    )


@pytest.mark.parametrize("name", ["yaw", "roll"])
def test_yaw_and_roll_are_refused_rather_than_ignored(name: str) -> None:
    models = part_models(halyard.project())
    turned = replace(HERE, **{name: np.array([0.02])})
    with pytest.raises(NotCovered, match=name):
        car_loads(models, turned, draws_of(models, halyard.prior()))
    with pytest.raises(NotCovered, match=name):
        budget(models, turned, halyard.prior())
