"""A server in the same process, over the stand-in for the study."""

from collections.abc import Iterator

import pytest
from starlette.testclient import TestClient
from tests.browser.fake_workbench import FakeWorkbench

from tuftwork.app.server import create_app

TOKEN = "a-token-for-tests"
BASE = "http://127.0.0.1:8123"


@pytest.fixture
def bench() -> FakeWorkbench:
    return FakeWorkbench(step_s=0.01)


@pytest.fixture
def stranger(bench: FakeWorkbench) -> Iterator[TestClient]:
    """Someone without the token."""
    with TestClient(create_app(bench, TOKEN), base_url=BASE, follow_redirects=False) as client:
        yield client


@pytest.fixture
def client(stranger: TestClient) -> TestClient:
    """Someone with the token."""
    stranger.headers["x-tuftwork-token"] = TOKEN
    return stranger
