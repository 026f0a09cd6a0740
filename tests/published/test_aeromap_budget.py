"""Budgets against printed component tables."""

from pathlib import Path

import numpy as np
import pytest

from tuftwork.aeromap.budget import budget
from tuftwork.aeromap.interface import PlatformState
from tuftwork.aeromap.part import part_models, project_inputs
from tuftwork.car import Project
from tuftwork.quantity import draw_ensemble

pytestmark = pytest.mark.published
DATA = Path(__file__).parent / "data"
TABLE = np.genfromtxt(
    DATA / "car_component_sums.csv", delimiter=",", skip_header=4, names=True, dtype=None,
    encoding=None,
)  # fmt: skip
AREA = 1.8  # [m²] any: the table prints coefficients


def _rows(key: str) -> list[np.void]:
    return [row for row in TABLE if row["id"] == key]


def _project(parts: list[dict[str, str]]) -> Project:
    return Project.model_validate(
        {
            "form": 1,
            "about": {"title": "a printed component table"},
            "car": {"name": "prototype", "wheelbase": "2.7 m", "frontal_area": f"{AREA} m^2"},
            "mass_states": [
                {
                    "name": "any", "mass": "900 kg", "front_weight": "45 %",
                    "ride_height_front": "40 mm", "ride_height_rear": "50 mm",
                }
            ],
            "weather": {"temperature": "15 °C"},
            "parts": parts,
            "study": {"speeds": ["200 km/h"]},
        }
    )  # fmt: skip


def _lump(name: str, lift: float, drag: float, front: str) -> dict[str, str]:
    return {
        "name": name, "kind": "lump", "downforce": f"{-lift:.4f}", "drag": f"{drag:.4f}",
        "front_share": front,
    }  # fmt: skip


def _platform() -> PlatformState:
    one = np.ones(1)
    return PlatformState(
        ride_height_front=0.04 * one, ride_height_rear=0.05 * one, speed=55.0 * one,
        density=1.2 * one, viscosity=1.8e-5 * one,
    )  # fmt: skip


def _budget(project: Project) -> dict[str, tuple[float, float, float]]:
    models = part_models(project)
    ensemble = draw_ensemble(project_inputs(project), size=32)
    rows = budget(models, _platform(), ensemble).rows
    return {
        row.name: tuple(float(f[0]) / AREA for f in (row.front, row.rear, row.drag))  # type: ignore[misc]
        for row in rows
    }


def test_components_of_a_prototype_add_up_to_the_printed_totals() -> None:
    # B33: sums exact
    parts, printed = _rows("B33")[:-1], _rows("B33")[-1]
    found = _budget(_project([_lump(str(r["name"]), r["lift"], r["drag"], "50 %") for r in parts]))
    front, rear, drag = found["whole car"]
    np.testing.assert_allclose(-(front + rear), printed["lift"], atol=1e-12)
    np.testing.assert_allclose(drag, printed["drag"], atol=1e-12)


def test_share_of_the_undertray_in_the_prototype() -> None:
    # B34: 1.26 / 1.80
    parts = _rows("B33")[:-1]
    found = _budget(_project([_lump(str(r["name"]), r["lift"], r["drag"], "50 %") for r in parts]))
    under = sum(found["undertray and diffuser"][:2])
    np.testing.assert_allclose(
        under / sum(found["whole car"][:2]), _rows("B34")[0]["lift"], atol=1e-12
    )


def test_axle_split_of_an_open_two_seater() -> None:
    # B30, B31: lift CL/2 ± pitching moment; the part's front share carries the moment
    whole, front, rear = _rows("B30")
    share = 0.5 + 0.0263 / float(whole["lift"])
    found = _budget(_project([_lump("car", whole["lift"], whole["drag"], f"{100 * share:.6f} %")]))
    ours_front, ours_rear, drag = found["whole car"]
    np.testing.assert_allclose(-ours_front, front["lift"], atol=1e-4)
    np.testing.assert_allclose(-ours_rear, rear["lift"], atol=1e-4)
    np.testing.assert_allclose(drag, whole["drag"], atol=1e-12)
    np.testing.assert_allclose(
        ours_rear / (ours_front + ours_rear), _rows("B31")[0]["lift"], atol=1e-3
    )


def test_share_of_the_wheels_in_the_drag_of_the_two_seater() -> None:
    # B32: 19.6 % (0.1 point); the parts' axle lifts are printed too, each to half a last digit
    rows = np.genfromtxt(
        DATA / "trial_axle_split.csv", delimiter=",", skip_header=4, names=True, dtype=None,
        encoding=None,
    )  # fmt: skip
    own = [r for r in rows if r["case"] == "control" and r["part"] != "whole"]
    (whole,) = (r for r in rows if r["case"] == "control" and r["part"] == "whole")
    found = _budget(
        _project(
            [
                _lump(str(r["part"]), r["Cl"], r["Cd"], f"{100 * (0.5 + r['Cm'] / r['Cl']):.6f} %")
                for r in own
            ]
        )
    )
    front, rear, drag = found["whole car"]
    wheels = sum(found[name][2] for name in ("front_wheels", "rear_wheels"))
    assert abs(wheels / drag - 0.196) <= 1e-3
    np.testing.assert_allclose(drag, whole["Cd"], atol=2e-4)
    np.testing.assert_allclose((-front, -rear), (whole["Clf"], whole["Clr"]), atol=2e-4)
    for row in own:
        ours_front, ours_rear, _ = found[str(row["part"])]
        np.testing.assert_allclose(-ours_front, row["Clf"], atol=1e-4)
        np.testing.assert_allclose(-ours_rear, row["Clr"], atol=1e-4)
