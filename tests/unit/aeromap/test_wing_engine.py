"""A wing that names its section behind the part interface: tables, draws, refusals."""

from dataclasses import replace

import numpy as np
import pytest

from tuftwork.aeromap.interface import PlatformState
from tuftwork.aeromap.part import LatticeWing, equipped, spec_of
from tuftwork.aeromap.part.base import Reference
from tuftwork.aeromap.part.wing_engine import lattice_wing
from tuftwork.car import Wing
from tuftwork.errors import InputError, NotCovered
from tuftwork.quantity import exact
from tuftwork.section import naca, single
from tuftwork.wing import solve_wing, wing_system
from tuftwork.wing.bank import WingBank, polar_table, wing_bank
from tuftwork.wing.spec import wing_of

REFERENCE = Reference(
    wheelbase=exact(2.6, "length", unit="m"),
    frontal_area=exact(2.0, "area", unit="m^2"),
    ride_height_front=0.06,
    ride_height_rear=0.07,
)
KEYS = {
    "name": "wing", "kind": "wing", "span": "1.6 m ± 10 mm", "chord": "300 mm ± 3 mm",
    "incidence": "6 ° ± 0.5 °", "station": "2.9 m", "height": "1.1 m ± 10 mm",
    "end_plate_height": "200 mm ± 10 mm", "gurney": "6 mm ± 1 mm",
    "section": {"outline": "NACA 4412", "mount": "bottom"},
}  # fmt: skip


def part(**changes) -> Wing:
    return Wing.model_validate({**KEYS, **changes})


@pytest.fixture(scope="module")
def bank() -> WingBank:
    return wing_bank(spec_of(part()), single(naca("4412")))


@pytest.fixture(scope="module")
def model(bank: WingBank) -> LatticeWing:
    own = lattice_wing(part(), REFERENCE, ("exit_pressure", "rear_wing_angle"))
    (found,) = equipped([own], {own.spec.key: bank})
    assert isinstance(found, LatticeWing)
    return found


def best(model: LatticeWing) -> dict[str, np.ndarray]:
    return {name: np.array([q.best]) for name, q in model.inputs.items()}


def platform(**changes) -> PlatformState:
    values = {"ride_height_front": 0.06, "ride_height_rear": 0.07, "speed": 50.0,
              "density": 1.2, "viscosity": 1.8e-5} | changes  # fmt: skip
    return PlatformState(**{k: np.atleast_1d(v) for k, v in values.items()})


def total(load) -> float:
    return float((load.downforce_front + load.downforce_rear).ravel()[0])


def test_at_best_values_it_is_the_lattice_with_its_factors(model: LatticeWing) -> None:
    spec = spec_of(part())
    table = polar_table(spec, single(naca("4412")))
    plain = solve_wing(
        wing_system(wing_of(spec), n_span=20), {"section": table}, incidence=spec.incidence
    ).downforce_area
    draws = best(model)
    for key in ("slope", "stall", "lattice", "mount"):
        draws[f"wing.model.{key}"] = np.ones(1)
    draws["wing.model.lag"] = np.zeros(1)
    found = total(model.load(platform(viscosity=1.2 * 1.5e-5), draws, {}))
    assert found == pytest.approx(plain, rel=0.01)


def test_every_input_moves_an_answer(model: LatticeWing) -> None:
    still = model.load(platform(), best(model), {})
    for name in model.inputs:
        draws = best(model)
        draws[name] = draws[name] * 1.03 + (0.01 if name.endswith("lag") else 0.0)
        moved = model.load(platform(), draws, {})
        change = [
            abs(np.ravel(getattr(moved, f) - getattr(still, f))[0])
            for f in ("downforce_front", "downforce_rear", "drag")
        ] + [abs(np.ravel(moved.effects[k] - still.effects[k])[0]) for k in still.effects]
        assert max(change) > 1e-7, name


def test_air_coming_down_adds_downforce_and_turns_it_forward(model: LatticeWing) -> None:
    level = model.load(platform(), best(model), {})
    down = model.load(platform(), best(model), {"rear_wing_angle": np.array([0.05])})
    assert total(down) > total(level)
    tilted = float((down.drag - level.drag).ravel()[0])
    assert tilted < 0.02 * total(down)


def test_slow_air_takes_in_proportion_to_its_pressure(model: LatticeWing) -> None:
    level = total(model.load(platform(), best(model), {}))
    slow = total(model.load(platform(), best(model), {"rear_wing_pressure": np.array([-0.2])}))
    assert slow == pytest.approx(0.8 * level)


def test_a_car_that_pitches_nose_down_turns_its_wing(model: LatticeWing) -> None:
    level = total(model.load(platform(), best(model), {}))
    pitched = total(model.load(platform(ride_height_front=0.04), best(model), {}))
    assert pitched > level


def test_all_cells_and_draws_are_answered_in_one_call(model: LatticeWing) -> None:
    rng = np.random.default_rng(3)
    draws = {
        name: q.best + (0.0 if q.is_exact else 0.5 * (q.high - q.low)) * 0.3 * rng.normal(size=256)
        for name, q in model.inputs.items()
    }
    hf, hr = (np.linspace(0.03, 0.07, 15) for _ in range(2))
    load = model.load(
        platform(ride_height_front=hf[:, None, None], ride_height_rear=hr[None, :, None]), draws, {}
    )
    assert load.downforce_rear.shape == (15, 15, 256)
    assert np.isfinite(load.downforce_rear).all()


def test_it_says_when_it_stalls_and_when_it_leaves_its_tables(model: LatticeWing) -> None:
    draws = best(model)
    draws["wing.incidence"] = np.deg2rad(np.array([24.0]))
    notices = " ".join(model.load(platform(), draws, {}).notices)
    assert "stall" in notices
    assert "outside its tables" in notices


def test_a_wing_without_tables_says_what_to_do(model: LatticeWing) -> None:
    with pytest.raises(NotCovered, match="Run the study"):
        replace(model, bank=None).load(platform(), best(model), {})


def test_tables_survive_the_store(bank: WingBank) -> None:
    again = WingBank.of(bank.tree())
    np.testing.assert_array_equal(again.default.downforce_area, bank.default.downforce_area)
    assert again.below == bank.below


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"camber": "4 %"}, "changes nothing beside a section"),
        ({"thickness": "12 %"}, "changes nothing beside a section"),
        ({"elements": 3}, "its section has 1"),
        ({"model": {"stall_band": "0.1"}}, "stall_band"),
        ({"gurney": "0 mm", "model": {"gurney": "3"}}, "changes nothing on this part"),
    ],
)
def test_keys_that_change_nothing_are_refused(changes, word) -> None:
    with pytest.raises(Exception, match=word):
        lattice_wing(part(**changes), REFERENCE, ("exit_pressure",))


def test_a_wing_through_the_road_is_refused() -> None:
    low = part(height="20 mm", end_plate_height="10 mm", incidence="10 °")
    with pytest.raises(InputError):
        wing_bank(spec_of(low), single(naca("4412")))


def test_incidence_shares_a_table_only_where_the_road_is_far() -> None:
    assert spec_of(part()).key == spec_of(part(incidence="9 °")).key
    near = {"height": "140 mm", "end_plate_height": "60 mm"}
    assert spec_of(part(**near)).key != spec_of(part(incidence="9 °", **near)).key
