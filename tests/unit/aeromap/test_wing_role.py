"""Wings by where they stand: vented under the nose, low over the diffuser, on the corners."""

from dataclasses import replace

import numpy as np
import pytest
from tests.unit.aeromap import halyard

from tuftwork.aeromap.budget import budget
from tuftwork.aeromap.interface import PlatformState
from tuftwork.aeromap.part import LatticeWing, draws_of, equipped, part_models, spec_of
from tuftwork.aeromap.part.base import Reference
from tuftwork.aeromap.part.dive_plane import dive_plane_model
from tuftwork.aeromap.part.registry import inputs_of
from tuftwork.aeromap.part.wing import wing_model
from tuftwork.aeromap.part.wing_engine import lattice_wing
from tuftwork.aeromap.part.wing_role import role_of
from tuftwork.car import BeamWing, DivePlane, FrontSection, Project, Wing
from tuftwork.errors import InputError
from tuftwork.quantity import draw_ensemble, exact
from tuftwork.section import naca, single
from tuftwork.wing import bank as bank_module
from tuftwork.wing import linear_table
from tuftwork.wing.bank import REFERENCE_TILT, WingBank, wing_bank

HERE = halyard.platform(47.0, 62.0, 190.0)
REFERENCE = Reference(
    wheelbase=exact(2.6, "length", unit="m"),
    frontal_area=exact(2.0, "area", unit="m^2"),
    ride_height_front=0.06,
    ride_height_rear=0.07,
)
HEARD = ("exit_pressure", "rear_wing_angle", "floor_head")
BOX = {
    "name": "nose section", "kind": "front section", "span": "1.5 m ± 10 mm",
    "chord": "350 mm ± 5 mm", "incidence": "3 ° ± 0.5 °", "station": "-0.7 m",
    "height": "160 mm ± 5 mm", "elements": 2, "exit_pressure": "-0.3 ± 0.1",
}  # fmt: skip
BEAM = {
    "name": "beam", "kind": "beam wing", "span": "1.0 m", "chord": "150 mm", "incidence": "6 °",
    "station": "3.0 m", "height": "450 mm", "clearance": "80 mm ± 10 mm",
}  # fmt: skip
PLATES = {
    "name": "dive planes", "kind": "dive plane", "reach": "120 mm ± 10 mm", "chord": "400 mm",
    "incidence": "15 ° ± 2 °", "station": "-0.6 m", "height": "350 mm", "sweep": "60 °",
}  # fmt: skip


def section(**changes) -> FrontSection:
    return FrontSection.model_validate({**BOX, **changes})


def platform(**changes) -> PlatformState:
    values = {"ride_height_front": 0.06, "ride_height_rear": 0.07, "speed": 50.0,
              "density": 1.2, "viscosity": 1.8e-5} | changes  # fmt: skip
    return PlatformState(**{k: np.atleast_1d(v) for k, v in values.items()})


def best(model) -> dict[str, np.ndarray]:
    return {name: np.array([q.best]) for name, q in model.inputs.items()}


def total(load) -> float:
    return float((load.downforce_front + load.downforce_rear).ravel()[0])


def test_a_project_takes_all_of_them_and_the_budget_still_adds_up() -> None:
    base = halyard.project()
    kept = [part for part in base.parts if part.kind in ("body", "splitter", "wing", "floor")]
    parts = [*kept, section(), BeamWing.model_validate(BEAM), DivePlane.model_validate(PLATES)]
    project = Project.model_validate(
        {**base.model_dump(include={"form"}), "about": base.about, "car": base.car,
         "mass_states": base.mass_states, "weather": base.weather, "study": base.study,
         "parts": parts}
    )  # fmt: skip
    models = part_models(project)
    ensemble = draw_ensemble(inputs_of(models), size=64, seed=3)
    found = budget(models, HERE, ensemble)
    names = [row.name for row in found.rows]
    assert {"nose section", "beam", "dive planes"} <= set(names)
    # what they do to their neighbours stands in rows of its own
    assert "nose section → rear wing" in names
    assert "nose section → floor" in names
    assert "beam → rear wing" in names
    assert "beam → floor" in names
    pieces = [r for r in found.rows if r.kind in ("part", "interaction")]
    np.testing.assert_allclose(sum(r.total for r in pieces), found.total.total)


@pytest.mark.parametrize(
    ("make", "part"),
    [
        (lambda p: wing_model(p, REFERENCE, HEARD), section()),
        (lambda p: wing_model(p, REFERENCE, HEARD), BeamWing.model_validate(BEAM)),
        (lambda p: dive_plane_model(p, REFERENCE), DivePlane.model_validate(PLATES)),
    ],
    ids=["front section", "beam wing", "dive plane"],
)
def test_every_input_moves_an_answer(make, part) -> None:
    model = make(part)
    still = model.load(platform(), best(model), {})
    for name in model.inputs:
        if name.endswith(".elements"):
            continue  # there so that a study notices a change
        draws = best(model)
        # what stands at nought, or at all of it, moves too
        draws[name] = draws[name] * 0.97 + (0.01 if draws[name][0] == 0.0 else 0.0)
        moved = model.load(platform(), draws, {})
        change = [
            abs(np.ravel(getattr(moved, f) - getattr(still, f))[0])
            for f in ("downforce_front", "downforce_rear", "drag")
        ] + [abs(np.ravel(moved.effects[k] - still.effects[k])[0]) for k in still.effects]
        assert max(change) > 1e-10, name


def test_lower_pressure_at_the_exit_means_more_downforce() -> None:
    loads = []
    for pressure in ("0.1", "-0.2", "-0.5"):
        model = wing_model(section(exit_pressure=pressure), REFERENCE, HEARD)
        loads.append(total(model.load(platform(), best(model), {})))
    assert loads[0] < loads[1] < loads[2]


def test_an_exit_at_the_edges_own_pressure_changes_nothing() -> None:
    model = wing_model(section(exit_pressure="0.10"), REFERENCE, HEARD)
    draws = best(model)
    plain = {k: v for k, v in BOX.items() if k != "exit_pressure"} | {"kind": "wing"}
    wing = wing_model(Wing.model_validate(plain), REFERENCE, HEARD)
    assert total(model.load(platform(), draws, {})) == pytest.approx(
        total(wing.load(platform(), best(wing), {}))
    )


def test_a_section_that_does_not_vent_is_a_front_wing() -> None:
    model = wing_model(section(vented="0 %"), REFERENCE, HEARD)
    low = wing_model(section(vented="0 %", exit_pressure="-1.0"), REFERENCE, HEARD)
    assert total(model.load(platform(), best(model), {})) == pytest.approx(
        total(low.load(platform(), best(low), {}))
    )


def test_a_beam_wing_pulls_at_the_diffuser_more_the_nearer_it_hangs() -> None:
    found = []
    for gap in ("60 mm", "200 mm"):
        model = wing_model(BeamWing.model_validate({**BEAM, "clearance": gap}), REFERENCE, HEARD)
        found.append(float(model.load(platform(), best(model), {}).effects["exit_pressure"][0]))
    assert found[0] < found[1] < 0.0


def test_dive_planes_turned_up_lift() -> None:
    down = dive_plane_model(DivePlane.model_validate(PLATES), REFERENCE)
    load = down.load(platform(), best(down), {})
    assert total(load) > 0.0
    draws = best(down)
    draws["dive planes.incidence"] = -draws["dive planes.incidence"]
    assert total(down.load(platform(), draws, {})) < 0.0
    # the nose is ahead of the front axle: it takes load off the rear
    assert load.downforce_front[0] > total(load)


def test_four_plates_carry_twice_two() -> None:
    two, four = (
        dive_plane_model(DivePlane.model_validate({**PLATES, "count": n}), REFERENCE)
        for n in (2, 4)
    )
    one = total(two.load(platform(), best(two), {}))
    assert total(four.load(platform(), best(four), {})) == pytest.approx(2.0 * one)


def test_a_plate_that_ends_before_its_tip_is_refused() -> None:
    with pytest.raises(InputError, match="must be below"):
        dive_plane_model(DivePlane.model_validate({**PLATES, "sweep": "78 °"}), REFERENCE)


def test_roles_follow_kind_and_place() -> None:
    plain = {k: v for k, v in BEAM.items() if k != "clearance"} | {"kind": "wing"}
    assert role_of(Wing.model_validate(plain), REFERENCE) == "rear wing"
    assert role_of(Wing.model_validate({**plain, "station": "-0.5 m"}), REFERENCE) == "front wing"
    assert role_of(section(), REFERENCE) == "front section"


# Air that differs along the span ---------------------------------------------------------------

REAR = {
    "name": "wing", "kind": "wing", "span": "1.6 m", "chord": "300 mm", "incidence": "6 °",
    "station": "2.9 m", "height": "1.1 m", "section": {"outline": "NACA 4412"},
}  # fmt: skip
ROOF = [{"y": "0 mm", "share": "100 %"}, {"y": "450 mm", "share": "100 %"},
        {"y": "650 mm", "share": "0 %"}]  # fmt: skip


def bank_of(model: LatticeWing) -> WingBank:
    """Return tables with an ideal section: what polars cost is tried elsewhere."""
    with pytest.MonkeyPatch.context() as patch:
        ideal = linear_table(maximum=1.6, zero_lift=np.deg2rad(-4.0), drag=0.01)
        patch.setattr(bank_module, "polar_table", lambda *_, **__: ideal)
        return wing_bank(model.spec, single(naca("4412")))


@pytest.fixture(scope="module")
def even_and_shaped() -> list[LatticeWing]:
    model = lattice_wing(Wing.model_validate({**REAR, "onset": ROOF}), REFERENCE, HEARD)
    bank = bank_of(model)
    even = replace(bank, tilted=None, tilted_pessimistic=None, share=1.0)
    return [replace(model, bank=b) for b in (even, bank)]


def test_a_roof_narrower_than_the_wing_does_less(even_and_shaped) -> None:
    even, shaped = even_and_shaped
    tilt = {"rear_wing_angle": np.array([REFERENCE_TILT])}
    still = total(even.load(platform(), best(even), {}))
    assert total(shaped.load(platform(), best(shaped), {})) == pytest.approx(still, rel=1e-6)
    gains = [total(m.load(platform(), best(m), tilt)) - still for m in even_and_shaped]
    assert 0.5 < gains[1] / gains[0] < 0.9
    assert 0.5 < shaped.bank.share < 0.9


def test_the_shaped_onset_is_taken_on_beyond_its_tables(even_and_shaped) -> None:
    _, shaped = even_and_shaped
    loads = [
        total(shaped.load(platform(), best(shaped), {"rear_wing_angle": np.array([a])}))
        for a in np.deg2rad([-6.0, -2.0, 2.0, 6.0])
    ]
    assert (np.diff(loads) > 0.0).all()


def test_shaped_tables_survive_the_store(even_and_shaped) -> None:
    _, shaped = even_and_shaped
    again = type(shaped.bank).of(shaped.bank.tree())
    np.testing.assert_array_equal(again.tilted.margin, shaped.bank.tilted.margin)
    assert again.share == shaped.bank.share


def test_onsets_that_change_nothing_are_refused() -> None:
    bare = {k: v for k, v in REAR.items() if k != "section"}
    with pytest.raises(InputError, match="without a section"):
        wing_model(Wing.model_validate({**bare, "onset": ROOF}), REFERENCE, HEARD)
    with pytest.raises(InputError, match="ahead of the roof"):
        lattice_wing(
            Wing.model_validate({**REAR, "onset": ROOF, "station": "-0.5 m"}), REFERENCE, HEARD
        )
    twice = Wing.model_validate({**REAR, "onset": [ROOF[0], ROOF[0]]})
    with pytest.raises(InputError, match="at one place"):
        spec_of(twice)


def test_a_slotted_section_under_the_nose_uses_its_tables() -> None:
    part = section(section={"outline": "NACA 4412"}, elements=1, exit_pressure="-0.3")
    model = lattice_wing(part, REFERENCE, HEARD)
    (ready,) = equipped([model], {model.spec.key: bank_of(model)})
    load = ready.load(platform(), best(ready), {})
    free = replace(ready, role="front wing").load(platform(), best(ready), {})
    assert total(load) > 1.05 * total(free)
    assert load.effects["floor_head"][0] < 0.0
    assert load.effects["rear_wing_angle"][0] < 0.0
    draws = draws_of([ready], draw_ensemble(ready.inputs, size=32, seed=1))
    many = ready.load(platform(ride_height_front=np.linspace(0.05, 0.07, 5)[:, None]), draws, {})
    assert many.downforce_front.shape == (5, 32)
