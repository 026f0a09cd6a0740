"""Only this machine, this page and this start's token get an answer."""

import pytest
from starlette.testclient import TestClient
from starlette.websockets import WebSocketDisconnect

TOKEN = "a-token-for-tests"
SOCKET = "ws://127.0.0.1:8123/socket"
PLACES = ["/", "/overview.json", "/why/total.json", "/assets/index.js", "/nowhere"]


@pytest.mark.parametrize("place", PLACES)
def test_without_the_token_nothing_is_shown(stranger: TestClient, place: str) -> None:
    answer = stranger.get(place)
    assert answer.status_code == 401
    assert "tuftwork open" in answer.text
    assert "Halyard" not in answer.text


def test_the_token_moves_from_the_address_into_a_cookie(stranger: TestClient) -> None:
    answer = stranger.get(f"/?token={TOKEN}")
    assert answer.status_code == 303
    assert TOKEN not in answer.headers["location"]
    cookie = answer.headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "samesite=strict" in cookie.lower()
    assert stranger.get("/overview.json").status_code == 200


def test_a_wrong_token_opens_nothing(stranger: TestClient) -> None:
    assert stranger.get("/?token=wrong").status_code == 401
    assert stranger.get("/", headers={"x-tuftwork-token": "wrong"}).status_code == 401
    assert stranger.get("/", headers={"cookie": "tuftwork_x=wrong; ;=;"}).status_code == 401


@pytest.mark.parametrize("host", ["example.org", "example.org:8123", "127.0.0.1.example.org", ""])
def test_other_hosts_are_refused(client: TestClient, host: str) -> None:
    assert client.get("/overview.json", headers={"host": host}).status_code == 400


@pytest.mark.parametrize("host", ["127.0.0.1:8123", "localhost:8123", "127.0.0.1"])
def test_names_of_this_machine_are_served(client: TestClient, host: str) -> None:
    assert client.get("/overview.json", headers={"host": host}).status_code == 200


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://example.org"},
        {"origin": "http://127.0.0.1:9999"},
        {"origin": "https://127.0.0.1:8123"},
        {"origin": "null"},
        {"sec-fetch-site": "cross-site", "sec-fetch-mode": "no-cors"},
        {"sec-fetch-site": "same-site", "sec-fetch-mode": "cors"},
    ],
)
def test_other_pages_are_refused_even_with_the_token(
    client: TestClient, headers: dict[str, str]
) -> None:
    assert client.get("/overview.json", headers=headers).status_code == 403


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://127.0.0.1:8123"},
        {"sec-fetch-site": "same-origin", "sec-fetch-mode": "cors"},
        {"sec-fetch-site": "none", "sec-fetch-mode": "navigate"},
    ],
)
def test_the_own_page_is_served(client: TestClient, headers: dict[str, str]) -> None:
    assert client.get("/overview.json", headers=headers).status_code == 200


def test_another_page_cannot_open_the_socket(client: TestClient) -> None:
    for origin in ("http://example.org", "http://127.0.0.1:9999"):
        with (
            pytest.raises(WebSocketDisconnect) as refusal,
            client.websocket_connect(SOCKET, headers={"origin": origin}),
        ):
            pass
        assert refusal.value.code == 4403


def test_the_own_page_can_open_the_socket(client: TestClient) -> None:
    with client.websocket_connect(SOCKET, headers={"origin": "http://127.0.0.1:8123"}) as session:
        assert session.receive_bytes()


def test_the_socket_needs_the_token_too(stranger: TestClient) -> None:
    with pytest.raises(WebSocketDisconnect), stranger.websocket_connect(f"{SOCKET}?token={TOKEN}"):
        pass


def test_the_page_may_ask_nothing_outside(client: TestClient) -> None:
    policy = client.get("/overview.json").headers["content-security-policy"]
    assert "default-src 'self'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy
