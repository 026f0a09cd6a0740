"""The invented coupe: its planted fault, an undersized exit, is found without being told.

The bounds are the 90 % ranges of the scenario's own truth model (invented, not published):
107 to 137 °C as it is, 88 to 108 °C with bonnet louvres of 0.066 m².
"""

import importlib.util
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from tuftwork.cooling import (
    AirNet,
    Cooler,
    Exit,
    Inlet,
    Leak,
    Surroundings,
    core_from_surface,
    find_restriction,
    solve_air,
    solve_cooling,
)


@pytest.fixture(scope="module")
def story() -> ModuleType:
    """Return the example as a module."""
    path = Path(__file__).parents[3] / "examples" / "cooling_undersized_exit.py"
    spec = importlib.util.spec_from_file_location("cooling_undersized_exit", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_finds_the_exit_and_a_legal_cure(story: ModuleType) -> None:
    car = story.halyard()
    hot = solve_cooling(car, story.AROUND).hottest("water") - 273.15
    assert 107.0 < float(np.median(hot)) < 137.0
    assert float(np.mean(hot > 110.0)) > 0.8
    found = find_restriction(
        car, story.AROUND, story.TARGET, places=("bonnet",), pressures=story.BONNET
    )
    assert found.name == "slots"
    assert found.sized is not None
    assert found.sized.needed > 0.07
    assert 0.05 < found.elsewhere[0].needed < 0.080


def test_bonnet_louvres_bring_the_water_down(
    story: ModuleType, capsys: pytest.CaptureFixture[str]
) -> None:
    after = story.main()
    assert 88.0 < after < 108.0
    assert "exit slots restricts" in capsys.readouterr().out


def test_a_cooler_beside_a_free_gap_still_has_an_answer(story: ModuleType) -> None:
    # heat throttles the cooler's own share: plain repetition of the passes swings for ever
    core = core_from_surface(story.fins(), 0.10)
    net = AirNet(elements=(
        Inlet(name="nose", end="a", area=0.09),
        Cooler(name="charge", start="a", end="b", core=core),
        Leak(name="past it", start="a", end="b", area=0.2, discharge=0.9),
        Exit(name="slots", start="b", net_area=0.056),
    ))  # fmt: skip
    air = solve_air(net, Surroundings(speed=43.0, temperature=301.15), {"charge": 32e3})
    assert float(air.of("charge")[0]) > 0.0
    warm = float(air.of("charge", "outlet")[0]) - 301.15
    assert float(air.of("charge")[0]) * 1006.5 * warm == pytest.approx(32e3, rel=1e-9)
