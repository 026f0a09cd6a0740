"""Taps, rakes, and comparisons from every pass."""

import numpy as np
import pytest

from tuftwork.errors import InputError
from tuftwork.trial.compare import compare
from tuftwork.trial.paired import compare_passes
from tuftwork.trial.pressure import coefficient_of, rake_flow, total_loss

SPEEDS = np.array([100, 140, 170, 190, 205, 220, 232]) / 3.6


def test_coefficients_weigh_fast_readings_more_and_keep_the_shared_error() -> None:
    q = np.array([400.0, 900.0, 1600.0])
    found = coefficient_of(-0.35 * q, q, doubt=5.0)
    assert found.value == pytest.approx(-0.35)
    assert found.uncertainty == pytest.approx(5.0 / np.mean(q))
    many = coefficient_of(np.tile(-0.35 * q, 20), np.tile(q, 20), doubt=5.0)
    assert many.uncertainty == pytest.approx(found.uncertainty)
    assert total_loss(0.8 * q, q).value == pytest.approx(0.2)
    with pytest.raises(InputError, match="readings at speed"):
        coefficient_of(np.array([1.0]), np.array([0.0]))


def test_a_rake_finds_the_mean_of_a_pipes_seventh_power_law() -> None:
    # u/u_max = (1 − r/R)^(1/7); mean over maximum 2·49/((7+1)(2·7+1)) = 49/60, common textbooks
    radius, top = 0.1, 30.0
    n = 40
    edges = np.sqrt(np.arange(n + 1) / n)  # rings of like area, tubes at their middles of area
    r = radius * np.sqrt((edges[:-1] ** 2 + edges[1:] ** 2) / 2)
    u = top * (1 - r / radius) ** (1 / 7)
    areas = [np.pi * radius**2 / n] * n
    flow = rake_flow(300.0 + 0.6 * u**2, 300.0, areas, density=1.2, speed=50.0)
    assert flow.mean_speed / top == pytest.approx(49 / 60, rel=0.004)
    assert flow.area_flow == pytest.approx(flow.flow / 50.0)
    assert flow.backward == 0


def test_few_tubes_in_an_uneven_stream_say_so_and_backflow_is_counted() -> None:
    even = rake_flow(np.full(4, 500.0), 100.0, [0.01] * 4, density=1.2, speed=50.0)
    odd = rake_flow(np.array([900.0, 150.0, 900.0, 150.0]), 100.0, [0.01] * 4, density=1.2,
                    speed=50.0)  # fmt: skip
    assert even.unevenness == pytest.approx(0.0, abs=1e-12)
    assert odd.uncertainty > 5 * even.uncertainty
    back = rake_flow(np.array([500.0, 20.0]), 100.0, [0.01] * 2, density=1.2, speed=50.0)
    assert back.backward == 1
    with pytest.raises(InputError, match="two tubes"):
        rake_flow(np.array([500.0]), 100.0, [0.01], density=1.2, speed=50.0)


def passes(seed: int, runs: str = "ABA", drift: float = 30.0, offset: float = 0.0) -> dict:
    """Return loads of a day whose gain is 0.05 m² at every speed and which drifts."""
    noise = np.random.default_rng(seed)
    rows = []
    clock = 0.0
    for number, state in enumerate(runs):
        level = noise.normal(0, offset)
        for v in SPEEDS:
            for _ in range(4):
                q = 0.59 * v**2
                area = 1.5 + (0.05 if state == "B" else 0.0)
                rows.append((q * area + drift * clock + level + noise.normal(0, 25), q, v,
                             state == "B", clock, str(number)))  # fmt: skip
                clock += 0.02
        clock += 0.2
    columns = dict(zip(("force", "pressure", "speed", "is_changed", "hours", "block"),
                       zip(*rows, strict=True), strict=True))  # fmt: skip
    return {n: list(c) if n in ("is_changed", "block") else np.array(c)
            for n, c in columns.items()}  # fmt: skip


def test_gains_and_drift_come_out_of_every_pass() -> None:
    held = []
    for seed in range(25):
        found = compare_passes(**passes(seed))
        held += [abs(g.size - 0.05) < 1.30 * g.uncertainty for g in found.gains]
        assert found.drift == pytest.approx(30.0, abs=5 * found.drift_uncertainty)
    assert 0.70 < np.mean(held) < 0.90
    assert "drift taken out" in found.method


def test_runs_with_levels_of_their_own_are_a_random_effect() -> None:
    held = []
    for seed in range(12):
        found = compare_passes(**passes(seed, runs="ABABABAB", offset=40.0))
        held += [abs(g.size - 0.05) < 1.29 * g.uncertainty for g in found.gains]
    assert "mixed effects" in found.method
    assert 0.6 < np.mean(held) < 0.95  # gains of one day share the runs' levels


def test_passes_of_one_state_only_are_refused() -> None:
    day = passes(1)
    day["is_changed"] = [False] * day["force"].size
    with pytest.raises(InputError, match="both states"):
        compare_passes(**day)


def test_laps_agree_with_the_general_library() -> None:
    import pandas as pd
    import statsmodels.formula.api as smf

    noise = np.random.default_rng(5)
    rows = []
    for stint in range(8):
        level = noise.normal(0, 0.2)
        rows += [(97.4 + level + 0.03 * lap - 0.14 * (stint % 2) + noise.normal(0, 0.1),
                  bool(stint % 2), float(lap), str(stint)) for lap in range(6)]  # fmt: skip
    table = pd.DataFrame(rows, columns=["time", "changed", "lap", "stint"])
    ours = compare(table["time"].to_numpy(), table["changed"].to_list(), table["lap"].to_numpy(),
                   table["stint"].to_list())  # fmt: skip
    theirs = smf.mixedlm("time ~ changed + lap", table, groups="stint").fit(reml=True)
    assert ours.size == pytest.approx(theirs.params["changed[T.True]"], abs=2e-3)
    assert ours.uncertainty == pytest.approx(theirs.bse["changed[T.True]"], rel=0.03)
    assert ours.drift == pytest.approx(theirs.params["lap"], abs=2e-3)
