"""Every page has a twin in JSON that keeps to its form, and every fault becomes an answer."""

import json
from typing import Any

import pytest
from starlette.testclient import TestClient
from tests.browser.fake_workbench import PAGES, FakeWorkbench

from tuftwork.app import check_page, get_page
from tuftwork.app.server import DIST, create_app
from tuftwork.errors import TuftworkError, UnknownName

TOKEN = "a-token-for-tests"


@pytest.mark.parametrize("mood", ["plain", "empty", "long"])
@pytest.mark.parametrize("name", PAGES)
def test_the_stand_in_keeps_to_the_form(mood: str, name: str) -> None:
    try:
        tree = FakeWorkbench(mood).page(name)
    except TuftworkError:
        assert mood == "empty"
    else:
        assert check_page(name, tree) == []


@pytest.mark.parametrize("name", PAGES)
def test_a_page_is_served_as_it_is_printed(
    client: TestClient, bench: FakeWorkbench, name: str
) -> None:
    answer = client.get(f"/{name}.json")
    assert answer.status_code == 200
    assert answer.headers["cache-control"] == "no-store"
    assert answer.text == get_page(bench, f"/{name}")


def test_a_chain_is_served_as_it_is_printed(client: TestClient, bench: FakeWorkbench) -> None:
    answer = client.get("/why/total.downforce.220.json")
    assert check_page("why", answer.json()) == []
    assert answer.text == get_page(bench, "/why/total.downforce.220")
    assert answer.text == get_page(bench, "/why/total.downforce.220.json")


def test_a_page_takes_its_questions_from_the_address(client: TestClient) -> None:
    tree = client.get("/budget.json?speed=180&state=no wing").json()
    assert tree["speed"]["best"] == 180
    assert tree["state"] == "no wing"
    assert "rear wing" not in [row["name"] for row in tree["rows"]]


def test_printing_takes_them_too(bench: FakeWorkbench) -> None:
    assert json.loads(get_page(bench, "/budget?speed=180"))["speed"]["best"] == 180
    assert json.loads(get_page(bench, "/"))["project"]["title"] == "Halyard"
    with pytest.raises(UnknownName, match="claims"):
        get_page(bench, "/claim")


def test_an_unknown_page_lists_the_pages(client: TestClient) -> None:
    answer = client.get("/claim.json")
    assert answer.status_code == 404
    assert answer.json()["error"]["kind"] == "unknown name"
    assert "claims" in answer.json()["error"]["text"]
    assert client.get("/why/nobody.json").status_code == 404


def test_a_question_that_makes_no_sense_is_refused(client: TestClient) -> None:
    answer = client.get("/budget.json?state=upside down")
    assert answer.status_code == 404
    assert "as raced" in answer.json()["error"]["text"]


@pytest.mark.parametrize(
    ("mood", "place", "status", "kind"),
    [("empty", "/map.json", 409, "empty"), ("broken", "/claims.json", 422, "refused")],
)
def test_faults_say_what_where_and_the_cure(mood: str, place: str, status: int, kind: str) -> None:
    with TestClient(create_app(FakeWorkbench(mood), TOKEN), base_url="http://127.0.0.1") as client:
        answer = client.get(place, headers={"x-tuftwork-token": TOKEN})
    error = answer.json()["error"]
    assert (answer.status_code, error["kind"]) == (status, kind)
    if kind == "refused":
        assert error["faults"][0]["line"] == 31
        assert error["faults"][0]["cure"] == "Add the unit."


def test_a_defect_is_called_one(caplog: pytest.LogCaptureFixture) -> None:
    class Broken(FakeWorkbench):
        def page(self, name: str, **query: str) -> dict[str, Any]:
            raise ZeroDivisionError("by nothing")

    with TestClient(create_app(Broken(), TOKEN), base_url="http://127.0.0.1") as client:
        answer = client.get("/claims.json", headers={"x-tuftwork-token": TOKEN})
    assert answer.status_code == 500
    assert "defect of the program" in answer.json()["error"]["text"]
    assert "ZeroDivisionError" in caplog.text


def test_the_bundle_is_asked_for_afresh(client: TestClient) -> None:
    first = client.get("/assets/index.js")
    assert first.status_code == 200
    assert first.headers["cache-control"] == "no-cache"
    assert first.headers["content-type"].startswith("text/javascript")
    again = client.get("/assets/index.js", headers={"if-none-match": first.headers["etag"]})
    assert again.status_code == 304


def test_the_bundle_names_nothing_outside() -> None:
    for file in [DIST / "index.html", *(DIST / "assets").glob("*.css")]:
        text = file.read_text(encoding="utf-8")
        assert "http://" not in text
        assert "https://" not in text


def test_licences_of_what_is_shipped_are_shipped() -> None:
    assert "SIL Open Font License" in (DIST / "font-licence.txt").read_text(encoding="utf-8")
    shipped = (DIST / "licences.txt").read_text(encoding="utf-8")
    for name in ("preact", "@preact/signals", "uplot"):
        assert f"== {name} " in shipped


@pytest.mark.parametrize(
    ("change", "fault"),
    [
        ({"best": 9.0}, "outside"),
        ({"low_half": 0.0}, "50 %"),
        ({"text": "1.44 (1.36 to 1.52)"}, "unit"),
        ({"text": "1.44 m²"}, "range"),
        ({"origin": "guessed"}, "number.origin"),
    ],
)
def test_a_number_against_its_form_is_named(change: dict[str, Any], fault: str) -> None:
    chain = FakeWorkbench().why("total")
    chain["number"] |= change
    faults = check_page("why", chain)
    assert len(faults) == 1
    assert fault in faults[0]
    assert faults[0].startswith("number")


def test_a_missing_key_is_named() -> None:
    tree = FakeWorkbench().page("claims")
    del tree["claims"][1]["because"]
    assert any("claims.1.because" in fault for fault in check_page("claims", tree))
