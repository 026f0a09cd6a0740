"""What several pages and slow answers do to the order of messages: gates, never clocks."""

import asyncio
from concurrent.futures import ThreadPoolExecutor
from threading import Event, Thread
from typing import Any

import pytest
from starlette.testclient import TestClient
from tests.browser.fake_workbench import FakeWorkbench
from tests.unit.app.test_socket import SOCKET, TOKEN, Page

from tuftwork.app import socket as switchboard
from tuftwork.app.frame import pack, unpack
from tuftwork.app.server import create_app
from tuftwork.app.socket import Switchboard

LONG = 60.0  # [s]  before a test gives up; none waits for it


class SlowSocket:
    """A page that takes its first message slowly."""

    def __init__(self) -> None:
        self.taken: list[dict[str, Any]] = []
        self.free = asyncio.Event()

    async def accept(self) -> None: ...

    async def receive_bytes(self) -> bytes:
        await asyncio.Event().wait()  # it never says anything
        return b""

    async def send_bytes(self, message: bytes) -> None:
        header = unpack(message)[0]
        if header.get("progress") == 0.0:
            await self.free.wait()
        self.taken.append(header)


def test_news_arrive_in_the_order_in_which_they_happened() -> None:
    async def told() -> list[str]:
        board, page = Switchboard(FakeWorkbench()), SlowSocket()
        serving = asyncio.create_task(board.serve(page))  # type: ignore[arg-type]
        while not page.taken:  # what it says of the inputs when a page opens
            await asyncio.sleep(0.01)
        board.tell({"news": "run", "run": "mine", "state": "running", "progress": 0.0})
        board.tell({"news": "run", "run": "mine", "state": "done"})
        for _ in range(20):
            await asyncio.sleep(0)
        page.free.set()
        while len(page.taken) < 3:
            await asyncio.sleep(0.01)
        serving.cancel()
        return [str(one["state"]) for one in page.taken if one["news"] == "run"]

    # in a thread of its own: a browser test of the same process keeps a loop in this one
    with ThreadPoolExecutor(1) as pool:
        assert pool.submit(lambda: asyncio.run(told())).result(LONG) == ["running", "done"]


class Held(FakeWorkbench):
    """Live answers wait for the test."""

    def __init__(self) -> None:
        super().__init__()
        self.held, self.free, self.asked = Event(), Event(), list[str]()

    def live(self, message: Any) -> Any:
        self.asked.append(str(message["do"]))
        if message["do"] == "slow":
            self.held.set()
            assert self.free.wait(LONG)
        return {}, {}


@pytest.mark.parametrize("word", ["cancel", "flow_cancel", "flow_sweep_stop"])
def test_a_stop_does_not_wait_behind_an_answer_that_takes_long(word: str) -> None:
    bench = Held()
    with (
        TestClient(create_app(bench, TOKEN), base_url="http://127.0.0.1") as client,
        client.websocket_connect(SOCKET, headers={"x-tuftwork-token": TOKEN}) as session,
    ):
        page = Page(session)
        session.send_bytes(pack({"id": 1, "do": "slow"}))
        assert bench.held.wait(LONG)
        assert page.ask(id=2, do=word)[0]["id"] == 2
        bench.free.set()
        assert page.answer()[0]["id"] == 1


def test_answers_come_in_the_order_of_their_questions() -> None:
    bench = Held()
    with (
        TestClient(create_app(bench, TOKEN), base_url="http://127.0.0.1") as client,
        client.websocket_connect(SOCKET, headers={"x-tuftwork-token": TOKEN}) as session,
    ):
        page = Page(session)
        for name, word in enumerate(("slow", "save", "look")):
            session.send_bytes(pack({"id": name, "do": word}))
        assert bench.held.wait(LONG)
        bench.free.set()
        assert [page.answer()[0]["id"] for _ in range(3)] == [0, 1, 2]
    assert bench.asked == ["slow", "save", "look"]


def test_what_was_clicked_before_the_page_was_closed_is_done() -> None:
    bench = Held()
    done = Event()
    live = bench.live

    def answer(message: Any) -> Any:
        found = live(message)
        if message["do"] == "save":
            done.set()
        return found

    bench.live = answer  # type: ignore[method-assign]
    with TestClient(create_app(bench, TOKEN), base_url="http://127.0.0.1") as client:
        with client.websocket_connect(SOCKET, headers={"x-tuftwork-token": TOKEN}) as session:
            session.send_bytes(pack({"id": 1, "do": "slow"}))
            assert bench.held.wait(LONG)
            session.send_bytes(pack({"id": 2, "do": "save"}))
            session.close()
        bench.free.set()
        assert done.wait(LONG)


def test_a_page_that_is_behind_stops_no_other_run() -> None:
    bench = FakeWorkbench(step_s=0.02)
    bench.go.clear()
    with (
        TestClient(create_app(bench, TOKEN), base_url="http://127.0.0.1") as client,
        client.websocket_connect(SOCKET, headers={"x-tuftwork-token": TOKEN}) as session,
    ):
        page = Page(session)
        page.ask(id=1, do="run", run="new")
        assert page.ask(id=2, do="cancel", run="old")[0]["cancelled"] is None
        assert page.ask(id=3, do="cancel", run="new")[0]["cancelled"] == "new"
        page.until("cancelled")


def test_when_a_run_has_ended_it_is_told_at_once_that_nothing_is_stale(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(switchboard, "_STALE_EVERY", 3600.0)
    bench = FakeWorkbench(step_s=0.01)
    bench.stale = True
    with (
        TestClient(create_app(bench, TOKEN), base_url="http://127.0.0.1") as client,
        client.websocket_connect(SOCKET, headers={"x-tuftwork-token": TOKEN}) as session,
    ):
        page = Page(session)
        page.ask(id=1, do="run", run="mine")
        page.until("done")
        heard = Thread(target=hear_of_fresh_inputs, args=(page,), daemon=True)
        heard.start()
        heard.join(LONG)
        assert not heard.is_alive(), "nothing was told"


def hear_of_fresh_inputs(page: Page) -> None:
    """Read on until it is told that the inputs are those of the results."""
    while not any(one["news"] == "inputs" and not one["stale"] for one in page.news):
        page.news.append(unpack(page.session.receive_bytes())[0])
