"""The real server: on the loopback address only, on a free port, gone when told to go."""

import http.client
import os
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest

ROOT = Path(__file__).parents[3]


@pytest.fixture
def started() -> Iterator[tuple["subprocess.Popen[str]", str]]:
    path = os.pathsep.join([str(ROOT / "src"), str(ROOT)])
    with subprocess.Popen(
        [sys.executable, "-m", "tests.browser.fake_workbench"],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": path},
        stdout=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdout is not None
        try:
            yield process, process.stdout.readline().strip()
        finally:
            process.kill()


def test_the_printed_address_answers_and_stops_when_told(
    started: tuple["subprocess.Popen[str]", str],
) -> None:
    process, address = started
    parts = urlsplit(address)
    assert parts.hostname == "127.0.0.1"
    assert parts.port is not None
    connection = http.client.HTTPConnection("127.0.0.1", parts.port, timeout=20)
    connection.request("GET", f"/?{parts.query}")
    answer = connection.getresponse()
    assert answer.status == 303
    assert "server" not in {name.lower() for name, _ in answer.getheaders()}
    connection.close()
    process.send_signal(signal.SIGINT)
    assert process.wait(20) == 0


def test_other_addresses_of_this_machine_do_not_answer(
    started: tuple["subprocess.Popen[str]", str],
) -> None:
    port = urlsplit(started[1]).port
    with socket.socket() as other:
        other.settimeout(2)
        assert other.connect_ex(("127.0.0.2", port)) != 0
