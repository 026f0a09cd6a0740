"""The front floor on the page Floor in a real browser: a splitter's channels beside the floor."""

import re
from copy import deepcopy
from pathlib import Path

import pytest
import tomlkit
from playwright.sync_api import Page, expect
from tests.browser.conftest import Site
from tests.conftest import NewDemo
from tests.front_car import SPLITTER

from tuftwork.study import Bench

WAIT = 60_000  # [ms]  kernels from a cold start on a busy machine


@pytest.fixture(scope="module")
def fronted(tmp_path_factory: pytest.TempPathFactory, new_demo: NewDemo) -> Site:
    """Serve the demo's floor and a splitter with ramps: no axles, no air net, few draws."""
    folder = new_demo("halyard", Path(tmp_path_factory.mktemp("fronts")) / "halyard")
    tree = tomlkit.parse((folder / "project.toml").read_text("utf-8")).unwrap()
    tree["parts"] = [p for p in tree["parts"] if p["kind"] in ("floor", "splitter")]
    for part in tree["parts"]:
        if part["kind"] == "floor":
            part.pop("channel", None)
        else:
            part |= deepcopy(SPLITTER)
            ramps = part["channel"]["ramps"]
            ramps["pressure"] = "-0.2 ± 0.1"
            del ramps["into"]
    keep = ("form", "about", "car", "mass_states", "weather", "parts", "study")
    tree = {key: tree[key] for key in keep if key in tree}
    del tree["car"]["front"], tree["car"]["rear"]
    tree["study"]["draws"] = 32
    (folder / "project.toml").write_text(tomlkit.dumps(tree), encoding="utf-8")
    bench = Bench(folder, runs_itself=False)
    bench.run()
    return Site(bench)  # type: ignore[arg-type]


def test_the_splitter_stands_under_the_floor_with_numbers_and_a_sweep(
    page: Page, fronted: Site
) -> None:
    fronted.open(page, "floor")
    front = page.locator(".floor-front")
    expect(front.get_by_role("heading", name="Front floor: splitter")).to_be_visible(timeout=WAIT)
    for word in ("droop of the lip", "from below, ramps", "angle its rolled edge bears"):
        expect(front.get_by_role("row").filter(has_text=word)).to_be_visible()
    expect(front.get_by_role("img", name=re.compile("^CzS of the splitter"))).to_be_visible()
    front.locator("button.num").first.click()
    expect(page.get_by_role("complementary", name="Why")).to_contain_text("settled together")


def test_without_a_floor_the_page_shows_the_front_floor_alone(page: Page, nose: Bench) -> None:
    Site(Bench(nose.folder, runs_itself=False)).open(page, "floor")  # type: ignore[arg-type]
    front = page.locator(".floor-front")
    expect(front.get_by_role("heading", name="Front floor: splitter")).to_be_visible(timeout=WAIT)
    expect(page.get_by_text("No floor in this project")).to_be_visible()
    expect(page.get_by_text("Solving the floor")).to_have_count(0)
    expect(page.get_by_role("slider")).to_have_count(0)
