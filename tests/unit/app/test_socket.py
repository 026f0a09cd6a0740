"""The socket answers by id, survives every fault, and tells of runs and of changed inputs."""

from typing import Any

import numpy as np
import pytest
from starlette.testclient import TestClient, WebSocketTestSession
from tests.browser.fake_workbench import FakeWorkbench

from tuftwork.app.frame import pack, unpack
from tuftwork.app.server import create_app

TOKEN = "a-token-for-tests"
SOCKET = "ws://127.0.0.1:8123/socket"


class Page:
    """What an open page sees of the socket."""

    def __init__(self, session: WebSocketTestSession) -> None:
        self.session = session
        self.news: list[dict[str, Any]] = []

    def ask(self, **request: Any) -> tuple[dict[str, Any], dict[str, Any]]:
        self.session.send_bytes(pack(request))
        return self.answer()

    def answer(self) -> tuple[dict[str, Any], dict[str, Any]]:
        """Read on until something comes that is no news."""
        while True:
            header, arrays = unpack(self.session.receive_bytes())
            if "news" not in header:
                return header, arrays
            self.news.append(header)

    def until(self, state: str) -> dict[str, Any]:
        """Read news until a run reaches a state."""
        while True:
            for one in self.news:
                if one.get("state") == state:
                    return one
            header, _ = unpack(self.session.receive_bytes())
            self.news.append(header)


def test_a_live_answer_is_what_the_study_says(client: TestClient, bench: FakeWorkbench) -> None:
    message = {"do": "path_at", "speed": 205.0, "state": "as raced", "front_mm": 58, "rear_mm": 71}
    with client.websocket_connect(SOCKET) as session:
        header, arrays = Page(session).ask(id=4, **message)
    expected, draws = bench.live(message)
    assert header["id"] == 4
    assert header["numbers"] == expected["numbers"]
    for name, values in draws.items():
        np.testing.assert_array_equal(arrays[name], values.astype(np.float32))


@pytest.mark.parametrize(
    ("request_", "words"),
    [
        ({"do": "path_at", "speed": -1}, "must lie between"),
        ({"do": "path_at"}, "speed"),
        ({"do": "fly"}, "path_at"),
        ({}, "path_at"),
    ],
)
def test_a_fault_is_an_answer_and_the_socket_lives_on(
    client: TestClient, request_: dict[str, Any], words: str
) -> None:
    with client.websocket_connect(SOCKET) as session:
        page = Page(session)
        header, _ = page.ask(id="a", **request_)
        assert header["id"] == "a"
        assert words in header["error"]["text"]
        assert "error" not in page.ask(id="b", do="path_at", speed=200)[0]


def test_bytes_that_are_no_message_are_answered(client: TestClient) -> None:
    with client.websocket_connect(SOCKET) as session:
        session.send_bytes(b"\xff\xff\xff\xffnonsense")
        page = Page(session)
        assert "bytes" in page.answer()[0]["error"]["text"]
        assert "error" not in page.ask(id=1, do="path_at", speed=200)[0]


def test_a_run_tells_how_far_it_is_and_ends(client: TestClient) -> None:
    with client.websocket_connect(SOCKET) as session:
        page = Page(session)
        assert page.ask(id=1, do="run", run="mine")[0]["run"] == "mine"
        done = page.until("done")
    runs = [one for one in page.news if one["news"] == "run"]
    assert {one["run"] for one in runs} == {"mine"}
    shares = [one["progress"] for one in runs]
    assert shares == sorted(shares)
    assert shares[-1] == 1.0
    assert done["entry"]["state"] == "done"


def test_a_run_can_be_stopped_and_another_begun() -> None:
    bench = FakeWorkbench(step_s=0.02)
    bench.go.clear()
    with (
        TestClient(create_app(bench, TOKEN), base_url="http://127.0.0.1") as client,
        client.websocket_connect(SOCKET, headers={"x-tuftwork-token": TOKEN}) as session,
    ):
        page = Page(session)
        page.ask(id=1, do="run", run="first")
        second, _ = page.ask(id=2, do="run", run="second")
        assert "Cancel it first" in second["error"]["text"]
        assert page.ask(id=3, do="cancel")[0]["cancelled"] == "first"
        assert "kept" in page.until("cancelled")["text"]
        assert page.ask(id=4, do="run", run="third")[0]["run"] == "third"
        page.ask(id=5, do="cancel")
    assert bench.closed


def test_a_run_that_fails_says_why(caplog: pytest.LogCaptureFixture) -> None:
    bench = FakeWorkbench("broken", step_s=0.01)
    with (
        TestClient(create_app(bench, TOKEN), base_url="http://127.0.0.1") as client,
        client.websocket_connect(SOCKET, headers={"x-tuftwork-token": TOKEN}) as session,
    ):
        page = Page(session)
        page.ask(id=1, do="run", run="mine")
        failed = page.until("failed")
    assert failed["error"]["kind"] == "not converged"
    assert "31 of 256" in failed["error"]["text"]
    assert "run mine failed" in caplog.text


def test_a_page_opened_later_hears_of_the_run(client: TestClient) -> None:
    with client.websocket_connect(SOCKET) as session:
        page = Page(session)
        page.ask(id=1, do="run", run="mine")
        page.until("done")
    with client.websocket_connect(SOCKET) as session:
        assert Page(session).until("done")["run"] == "mine"


def test_changed_inputs_are_told(client: TestClient, bench: FakeWorkbench) -> None:
    bench.stale = True
    with client.websocket_connect(SOCKET) as session:
        header, _ = unpack(session.receive_bytes())
    told = {"digest": bench.digest(), "stale": True, "readable": True}
    assert header == {"news": "inputs", **told, "arrays": []}


def test_inputs_that_cannot_be_read_are_not_called_old(
    client: TestClient, bench: FakeWorkbench
) -> None:
    bench.stale, bench.mood = True, "broken"
    with client.websocket_connect(SOCKET) as session:
        header, _ = unpack(session.receive_bytes())
    assert (header["stale"], header["readable"]) == (False, False)
