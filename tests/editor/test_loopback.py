"""The server behind `trackkit edit` answers its own page on this computer and nobody else."""

import re

import pytest
from served_block import AT, HOME, PORT, TOKEN, post, small_page
from starlette.testclient import TestClient

from trackkit.editor.desk import Desk, Presence
from trackkit.editor.loopback import ADDRESS, LARGEST_BODY, listen, new_token
from trackkit.editor.server import make_app
from trackkit.errors import TrackkitError
from trackkit.track.file import write_track


@pytest.fixture(scope="module")
def path(tmp_path_factory, block):
    path = tmp_path_factory.mktemp("served") / "block.geojson"
    write_track(block, path)
    return path


@pytest.fixture(scope="module")
def client(path):
    """One server for all: whatever it is asked here, it must stay as it was."""
    app = make_app(Desk(str(path)), TOKEN, PORT, small_page, Presence())
    with TestClient(app, base_url=HOME, headers={"origin": HOME}) as client:
        yield client


# Whom it answers


@pytest.mark.parametrize("host", [f"{ADDRESS}:{PORT}", f"localhost:{PORT}", f"LOCALHOST:{PORT}"])
def test_this_computer_is_answered_under_both_its_names(client, host):
    assert client.get(f"{AT}/state", headers={"host": host}).status_code == 200


@pytest.mark.parametrize(
    "host",
    [
        "rebound.example",
        f"rebound.example:{PORT}",
        ADDRESS,
        f"{ADDRESS}:{PORT + 1}",
        "",
        f"{ADDRESS}:{PORT}.rebound.example",
        f"user@{ADDRESS}:{PORT}",
        f"[::1]:{PORT}",
    ],
)
def test_a_name_that_was_made_to_point_here_is_refused(client, host):
    """DNS rebinding: the browser of a visitor asks us under the attacker's name."""
    answer = client.get(f"{AT}/state", headers={"host": host})

    assert answer.status_code == 403
    assert "gates" not in answer.text


@pytest.mark.parametrize(
    "origin",
    [
        "http://other.example",
        "null",
        f"https://{ADDRESS}:{PORT}",
        f"http://{ADDRESS}:{PORT + 1}",
        f"http://{ADDRESS}",
        "",
    ],
)
@pytest.mark.parametrize("route", ["edit", "save", "reload", "closed"])
def test_a_page_of_another_site_changes_nothing(client, path, origin, route):
    before = path.read_bytes()
    body = {"do": "move", "gate": "gate-a", "to_m": 10.0}
    assert post(client, route, body, origin=origin).status_code == 403
    assert not client.get(f"{AT}/state").json()["can_undo"]
    assert path.read_bytes() == before


def test_a_post_that_says_no_origin_is_refused(path):
    app = make_app(Desk(str(path)), TOKEN, PORT, small_page, Presence())
    with TestClient(app, base_url=HOME) as client:
        assert post(client, "save").status_code == 403


@pytest.mark.parametrize(
    "token", ["", "x", TOKEN[:-1], TOKEN + "x", TOKEN.upper(), "..", "%2e", "é"]
)
def test_who_does_not_know_the_token_finds_nothing(client, token):
    for answer in (
        client.get(f"{HOME}/{token}/state"),
        client.post(f"{HOME}/{token}/save", json={}),
        client.get(f"{HOME}/{token}/"),
        client.get(f"{HOME}/"),
    ):
        assert answer.status_code == 404
        assert answer.json() == {"error": "there is nothing here"}


def test_the_token_is_compared_in_constant_time(client, monkeypatch):
    compared = []
    import hmac

    true = hmac.compare_digest
    monkeypatch.setattr("hmac.compare_digest", lambda a, b: compared.append((a, b)) or true(a, b))
    client.get(f"{HOME}/guess/state")

    assert compared == [(b"guess", TOKEN.encode())]


def test_a_token_has_at_least_128_bits_and_is_another_each_time():
    tokens = {new_token() for _ in range(100)}

    assert len(tokens) == 100
    # Six bits a character of base64 (RFC 4648 section 5).
    assert all(len(token) * 6 >= 128 and re.fullmatch(r"[\w-]+", token) for token in tokens)


@pytest.mark.parametrize(
    "kind", ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data", ""]
)
def test_what_a_form_of_another_site_could_send_is_refused(client, kind):
    answer = client.post(f"{AT}/save", content=b"{}", headers={"content-type": kind})

    assert answer.status_code == 415


@pytest.mark.parametrize(
    ("body", "status"),
    [
        (b"{", 400),
        (b"[]", 400),
        (b"\xff", 400),
        (b"[" * 30_000, 400),
        (b"7", 400),
        (b" " * LARGEST_BODY + b"{}", 413),
    ],
)
def test_what_no_page_of_ours_sends_is_refused(client, body, status):
    headers = {"content-type": "application/json"}
    answer = client.post(f"{AT}/edit", content=body, headers=headers)

    assert answer.status_code == status
    assert set(answer.json()) == {"error"}


def test_a_body_of_unknown_length_is_bounded_too(client):
    def endless():
        for _ in range(100):
            yield b" " * 4096

    headers = {"content-type": "application/json"}
    assert client.post(f"{AT}/edit", content=endless(), headers=headers).status_code == 413


def test_other_methods_and_routes_are_refused(client):
    assert client.get(f"{AT}/edit").status_code == 405
    assert client.get(f"{AT}/nothing").status_code == 404
    assert client.request("DELETE", f"{AT}/state", json={}).status_code == 405


@pytest.mark.parametrize("route", [f"{AT}/", f"{AT}/state", f"{HOME}/wrong/"])
def test_no_answer_is_kept_guessed_at_or_framed(client, route):
    headers = client.get(route).headers

    assert headers["cache-control"] == "no-store"
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "no-referrer"
    assert "frame-ancestors 'none'" in headers["content-security-policy"]
    assert "access-control-allow-origin" not in headers


# When it stops


def test_a_port_that_is_taken_is_one_sentence():
    first = listen()
    first.listen()
    port = first.getsockname()[1]
    try:
        with pytest.raises(TrackkitError, match=rf"port {port} of this computer cannot be used"):
            listen(port)
    finally:
        first.close()


def test_only_this_computer_can_reach_it():
    with listen() as listening:
        assert listening.getsockname()[0] == "127.0.0.1"
