"""A file becomes evidence on the page, over a real project folder."""

from pathlib import Path

import pytest
from playwright.sync_api import Page, expect
from tests.browser.conftest import Site, Watch

from tuftwork.files import new_project, read_project
from tuftwork.study import Bench


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    folder = new_project(tmp_path / "car", title="A car").folder
    (folder / "evidence" / "side.jpg").write_bytes(b"a photo")
    return folder


@pytest.fixture
def site(folder: Path) -> Site:
    return Site(Bench(folder, runs_itself=False))  # type: ignore[arg-type]


def test_a_file_on_the_shelf_is_registered_on_the_page(
    page: Page, site: Site, folder: Path
) -> None:
    site.open(page, "evidence")
    form = page.get_by_role("region", name="Register a file")
    form.get_by_role("button", name="side.jpg").click()
    form.get_by_label("Kind").select_option("photo")
    form.get_by_label("Source").fill("owner, by mail")
    form.get_by_label("Day").fill("2026-05-03")
    form.get_by_role("button", name="Register as E1").click()
    expect(page.locator(".register")).to_contain_text("owner, by mail")
    expect(page.locator(".register")).to_contain_text("registered")
    expect(form.get_by_role("button", name="Register as E2")).to_be_visible()
    (item,) = read_project(folder).project.evidence
    assert (item.file, str(item.day)) == ("side.jpg", "2026-05-03")


def test_a_bad_offer_is_refused_with_every_fault_and_keeps_what_was_typed(
    page: Page, site: Site, folder: Path, watch: Watch
) -> None:
    before = (folder / "project.toml").read_bytes()
    site.open(page, "evidence")
    form = page.get_by_role("region", name="Register a file")
    form.get_by_label("Day").fill("3 May")
    form.get_by_role("button", name="Register as E1").click()
    refused = form.locator(".refused")
    expect(refused).to_contain_text("nothing was registered")
    for key in ("file", "kind", "source", "day"):
        expect(refused.locator("b", has_text=key).first).to_be_visible()
    expect(form.get_by_label("Day")).to_have_value("3 May")
    assert (folder / "project.toml").read_bytes() == before
