"""A ride-height sweep ties a floor's channel: what was planted is found, bad tables are named."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tomlkit
from tests.conftest import NewDemo
from typer.testing import CliRunner

from tuftwork.aeromap.interface import PlatformState
from tuftwork.aeromap.part import ChannelFloor, draws_of
from tuftwork.aeromap.tie import KnownBefore
from tuftwork.car import Evidence, Floor, FloorChannel, Splitter
from tuftwork.cli import program
from tuftwork.demo.truth import true_loads
from tuftwork.errors import FileFault
from tuftwork.files.project import read_project
from tuftwork.floor.table import FloorTable
from tuftwork.floor.table_make import TableSize, floor_table
from tuftwork.quantity import values_at
from tuftwork.study import Bench
from tuftwork.study.floor_step import channel_models
from tuftwork.study.floor_sweep import floor_sweep_steps
from tuftwork.study.job import FLOOR_SWEEPS, FLOOR_TABLES, Job, models_in
from tuftwork.study.job_step import job_steps
from tuftwork.study.step import Pulse

HEIGHTS = np.array([62.0, 68.0, 74.0, 80.0, 86.0])
PULSE = Pulse(lambda share: None, lambda: False)


class Tied:
    """The demo with a channel under its floor, its table small, and a sweep in its evidence.

    Its splitter stands in closed form: what is tested is the floor's update.
    """

    def __init__(self, folder: Path, sweep_of: str = "floor") -> None:
        self.folder = folder
        project = read_project(folder).project
        channel = FloorChannel.model_validate({"sweep": "S1", "sweep_of": sweep_of})
        parts = tuple(
            p.with_values({"channel": {Floor: channel, Splitter: None}[type(p)]})
            if isinstance(p, Floor | Splitter) else p
            for p in project.parts
        )  # fmt: skip
        sweep = Evidence.model_validate(
            {"id": "S1", "title": "Sweep", "kind": "table", "file": "sweep.csv"}
        )
        self.project = project.model_copy(
            update={"parts": parts, "evidence": (*project.evidence, sweep)}
        )
        self.job = Job.of(self.project, folder=folder)
        steps = {s.name: s for s in job_steps(self.job)}
        self.results: dict[str, Any] = {"draws": steps["draws"].work({}, PULSE)}

    def with_table(self, tree: dict[str, Any]) -> "Tied":
        self.results[FLOOR_TABLES] = tree
        return self

    def write(self, text: str) -> None:
        (self.folder / "evidence" / "sweep.csv").write_text(text, encoding="utf-8")

    def found(self) -> dict[str, Any]:
        (step,) = floor_sweep_steps(self.job)
        return step.work(self.results, PULSE)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory, new_demo: NewDemo) -> Path:
    return new_demo("halyard", Path(tmp_path_factory.mktemp("sweep")) / "halyard")


@pytest.fixture(scope="module")
def tables(folder: Path) -> dict[str, Any]:
    """A table of few nodes: what is tested is the update, not the channel."""
    parts = channel_models(Tied(folder).project, ChannelFloor)
    made = {}
    for key, model in parts.items():
        spec = model.spec
        table = floor_table(
            spec.shape(), spec.closure(), front=spec.front, rear=spec.rear,
            wheelbase=spec.wheelbase, size=TableSize(front=2, rear=4, design=18, trials=4),
        )  # fmt: skip
        slopes = np.zeros((len(spec.lengths), 2))
        made[key] = replace(table, lengths=spec.lengths, slopes=slopes).tree()
    return made


def planted(tied: Tied, deviates: dict[str, float]) -> np.ndarray:
    """Return the floor's CzS with coefficients moved, everything else at its middle."""
    models = models_in(tied.project, "as raced", tied.results)
    ensemble = tied.job.ensemble(tied.results["draws"])
    inputs = {n: q for m in models for n, q in m.inputs.items()}
    draws = {n: values_at(q, np.zeros(1)) for n, q in inputs.items()}
    for name, z in deviates.items():
        draws[f"floor.model.{name}"] = values_at(inputs[f"floor.model.{name}"], np.array([z]))
    assert set(draws) == set(draws_of(models, ensemble))
    platform = PlatformState(
        ride_height_front=(HEIGHTS[:, None] - 13.0) / 1e3, ride_height_rear=HEIGHTS[:, None] / 1e3,
        speed=np.full((1, 1), 60.0), density=np.full((1, 1), 1.18),
        viscosity=np.full((1, 1), 1.8e-5),
    )  # fmt: skip
    around: dict[str, Any] = {}
    for model in models:
        load = model.load(platform, draws, around)
        if model.name == "floor":
            return (load.downforce_front + load.downforce_rear).ravel()
        for channel, effect in load.effects.items():
            around[channel] = around.get(channel, 0.0) + effect
    raise AssertionError


def rows(downforce: np.ndarray, heights: np.ndarray = HEIGHTS) -> str:
    lines = [f"{h:.1f},{c:.4f},0.01" for h, c in zip(heights, downforce, strict=True)]
    return "\n".join(["hr [mm],CzS [m^2],uncertainty [m^2]", *lines]) + "\n"


def test_a_sweep_of_the_floor_ties_it_to_within_a_tenth(
    folder: Path, tables: dict[str, Any]
) -> None:
    tied = Tied(folder).with_table(tables)
    truth = planted(tied, {"mixing": 1.2, "discharge": 1.0, "base_pressure": 0.8, "coverage": -0.6})
    tied.write(rows(truth))
    found = tied.found()
    floor = found["floors"]["floor"]
    assert floor["miss_before"] > 0.10
    assert floor["miss"] < 0.02
    assert np.all(np.diag(floor["covariance"]) < 1 + 1e-9)
    # levels of all four look alike from the road: their sum is known far better than any of them
    models = models_in(tied.project, "as raced", tied.results)
    before = draws_of(models, tied.job.ensemble(tied.results["draws"]))
    moved = {**tied.results["draws"], **found["moved"]}
    after = draws_of(models, tied.job.ensemble(moved))
    for name in ("floor.model.mixing", "floor.model.coverage"):
        assert np.std(after[name]) < np.std(before[name])
    np.testing.assert_array_equal(after["floor.width"], before["floor.width"])


def test_a_sweep_of_the_whole_car_leaves_what_the_rest_may_be(
    folder: Path, tables: dict[str, Any]
) -> None:
    tied = Tied(folder, "car").with_table(tables)
    truth = [true_loads(0.053, h / 1e3, np.radians(8.0)).total for h in HEIGHTS]
    tied.write(
        "\n".join(["hr;CzS;hf", *(f"{h};{c:.4f};53" for h, c in zip(HEIGHTS, truth, strict=True))])
    )
    floor = tied.found()["floors"]["floor"]
    assert floor["miss"] < 0.10
    assert floor["miss"] <= floor["miss_before"]
    on_floor = Tied(folder).with_table(tables)
    on_floor.write(rows(planted(on_floor, {})))
    alone = on_floor.found()["floors"]["floor"]
    left = []
    for tree in (floor, alone):
        at = [tree["names"].index(f"floor.model.{n}") for n in ("mixing", "discharge", "coverage")]
        left.append(np.linalg.det(np.asarray(tree["covariance"])[np.ix_(at, at)]))
    assert left[0] > left[1]  # the car's sweep says less of the floor than the floor's own


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (None, "not there"),
        ("hr,CzS\n70,1.0\n75,0.9\n", "too few ride heights"),
        ("hr,CzS\n70,1.0\n75,0.9\n72,0.9\n80,0.8\n", "sweep.csv:4: turns round"),
        ("hr,CzS\n70,1.0\n75,0.9\n75,0.8\n80,0.8\n", "sweep.csv:4: repeats"),
        ("hr,CzS\n70,1.0\n75,0.9\n80,-0.8\n", "sweep.csv:4: CzS must be above 0"),
        ("hr,CzS\n70,1.0\n75,0.9\n800,0.8\n", "beyond the floor's table"),
        ("hr,load\n70,1.0\n", "no column 'czs'"),
        ("hr,CzS\n70,much\n75,0.9\n80,0.8\n", "sweep.csv:2"),
        ("hr,CzS,uncertainty\n70,1.0,0\n75,0.9,0.1\n80,0.8,0.1\n", "uncertainty must be above 0"),
    ],
)
def test_a_table_that_cannot_tie_is_named_with_its_line(
    folder: Path, tables: dict[str, Any], text: str | None, words: str
) -> None:
    tied = Tied(folder).with_table(tables)
    if text is None:
        (folder / "evidence" / "sweep.csv").unlink(missing_ok=True)
    else:
        tied.write(text)
    found = tied.found()
    assert words in " ".join(found["floors"]["floor"]["refused"])
    assert found["moved"] == {}


def test_a_floor_without_a_sweep_has_no_step(folder: Path) -> None:
    job = Job.of(read_project(folder).project, folder=folder)
    assert floor_sweep_steps(job) == []
    assert FLOOR_SWEEPS not in [s.name for s in job_steps(job)]


def test_what_is_known_before_is_where_the_tie_begins() -> None:
    covariance = np.array([[0.25, -0.1], [-0.1, 0.16]])
    known = KnownBefore(names=("b", "c"), mean=np.array([1.0, -0.5]), covariance=covariance)
    blank = np.random.default_rng(2).standard_normal((40_000, 3))
    out = known.moved(["a", "b", "c"], blank)
    np.testing.assert_array_equal(out[:, 0], blank[:, 0])
    np.testing.assert_allclose(out[:, 1:].mean(axis=0), [1.0, -0.5], atol=0.01)
    np.testing.assert_allclose(np.cov(out[:, 1:].T), covariance, atol=0.01)
    only = known.moved(["c"], blank[:, :1])
    np.testing.assert_allclose([only.mean(), only.std()], [-0.5, 0.4], atol=0.01)


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory, new_demo: NewDemo) -> Bench:
    """The demo's floor alone on a car without axles, tied to a sweep."""
    folder = new_demo("halyard", Path(tmp_path_factory.mktemp("tied")) / "halyard")
    tree = tomlkit.parse((folder / "project.toml").read_text("utf-8")).unwrap()
    tree["parts"] = [p for p in tree["parts"] if p["kind"] == "floor"]
    tree["parts"][0]["channel"] = {"sweep": "S1", "base_pressure": "-0.2"}
    tree["evidence"] = [{"id": "S1", "title": "Sweep", "kind": "table", "file": "sweep.csv"}]
    keep = ("form", "about", "car", "mass_states", "weather", "parts", "study", "evidence")
    tree = {key: tree[key] for key in keep if key in tree}
    del tree["car"]["front"], tree["car"]["rear"]
    tree["study"]["draws"] = 32
    (folder / "project.toml").write_text(tomlkit.dumps(tree), encoding="utf-8")
    sweep = rows(np.array([0.90, 0.87, 0.83, 0.79, 0.74]))
    (folder / "evidence" / "sweep.csv").write_text(sweep, encoding="utf-8")
    return Bench(folder)


def test_page_and_command_show_what_the_sweep_tied(
    bench: Bench, tables: dict[str, Any], monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    (table,) = tables.values()
    monkeypatch.setattr(
        "tuftwork.study.floor_step.floor_table", lambda *a, **k: FloorTable.of(table)
    )
    found = bench.page("floor")["calibration"]
    keys = [row["key"] for row in found["rows"]]
    assert keys == ["mixing", "discharge", "coverage"]  # base pressure was given as exact
    assert found["miss_pct"] < 10 < found["miss_before_pct"]
    assert len(found["points"]) == HEIGHTS.size
    coverage = found["rows"][-1]
    widths = [coverage[k]["high"] - coverage[k]["low"] for k in ("before", "after")]
    assert widths[1] < widths[0]
    assert bench.why(coverage["after"]["why"])["steps"]
    # the page's own answer stands on the tied draws
    loads = {row["key"]: row["number"] for row in bench.page("floor")["loads"]}
    measured = np.interp(bench.page("floor")["handles"]["rear_mm"], HEIGHTS,
                         [p["measured"]["best"] for p in found["points"]])  # fmt: skip
    assert loads["budget"]["best"] == pytest.approx(measured, rel=0.1)
    code, said = command(bench.folder)
    assert code == 0
    assert "residual" in said
    assert "edge discharge" in said


def test_the_command_says_what_is_missing(
    folder: Path, tables: dict[str, Any], monkeypatch: pytest.MonkeyPatch, bench: Bench
) -> None:
    (table,) = tables.values()
    monkeypatch.setattr(
        "tuftwork.study.floor_step.floor_table", lambda *a, **k: FloorTable.of(table)
    )
    (bench.folder / "evidence" / "sweep.csv").write_text("hr,CzS\n70,1\n75,0.9\n", "utf-8")
    code, said = command(bench.folder)
    assert code != 0
    assert "too few ride heights" in said
    text = (bench.folder / "project.toml").read_text("utf-8")
    wrong = text.replace('sweep = "S1"', 'sweep = "S2"')
    (bench.folder / "project.toml").write_text(wrong, "utf-8")
    with pytest.raises(FileFault, match="no evidence of this name"):
        read_project(bench.folder)
    none = text.replace('sweep = "S1"', "")
    (bench.folder / "project.toml").write_text(none, "utf-8")
    code, said = command(bench.folder)
    assert code != 0
    assert "no ride-height sweep" in said


def command(folder: Path) -> tuple[int, str]:
    """Return exit code and everything that the command said."""
    done = CliRunner().invoke(program, ["floor", str(folder), "--calibrate"])
    return done.exit_code, done.output
