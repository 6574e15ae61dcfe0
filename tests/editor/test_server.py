"""The server behind `trackkit edit`: what it saves, and whom it answers.

The circuit is invented.  Distances are geographiclib's (Karney 2013), not trackkit's.
"""

import json
import os
import re
import signal
import socket
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from dataclasses import replace

import pytest
from drives import block_circuit, corner_speed, drive, track_of
from geographiclib.geodesic import Geodesic
from starlette.testclient import TestClient

from trackkit.cli import run
from trackkit.editor.desk import Desk, Presence
from trackkit.editor.loopback import ADDRESS, LARGEST_BODY, listen, new_token
from trackkit.editor.server import make_app
from trackkit.errors import TrackkitError
from trackkit.track.file import read_track, write_track

ROAD = block_circuit()
GATES = [("finish", "finish", 0.0), ("gate-a", "sector", 347.0), ("gate-b", "sector", 800.0)]
PORT = 4321
TOKEN = "a-token-for-tests"
HOME = f"http://{ADDRESS}:{PORT}"
AT = f"{HOME}/{TOKEN}"


@pytest.fixture(scope="module")
def block():
    track = track_of(ROAD, gates=GATES, spacing_m=2.0, revised="2024-01-01T00:00:00Z")
    accepted = ({"rule": "gate-apex", "feature": "gate-b", "reason": "as the club wants",
                 "by": None, "date": "2024-01-01"},)  # fmt: skip
    return replace(
        track,
        accepted=accepted,
        sources=({"file": "a.csv", "sha256": "0" * 64, "laps": 3},),
        history=({"revised": "2024-01-01T00:00:00Z", "by": "Ann", "what": "drew it"},),
        members={"x-club": {"bench": 3}},
        foreign={"x-whole": [1, 2]},
    )


@pytest.fixture(scope="module")
def recording():
    outing = drive(ROAD, begin_m=1300.0, laps=3.3, cruise=corner_speed(ROAD, 25.0, 6.0))
    return outing.recording(5, doppler=True, noise=0.5, seed=4)


@pytest.fixture
def path(tmp_path, block):
    write_track(block, tmp_path / "block.geojson")
    return tmp_path / "block.geojson"


def small_page(base, state, session):
    return (
        f"<!doctype html><title>{base['version']}</title>{len(state['gates'])} {session['token']}"
    )


@pytest.fixture
def presence():
    return Presence()


@pytest.fixture
def client(path, presence):
    app = make_app(Desk(str(path)), TOKEN, PORT, small_page, presence)
    with TestClient(app, base_url=HOME, headers={"origin": HOME}) as client:
        yield client


def post(client, route, body=None, **headers):
    return client.post(f"{AT}/{route}", json={} if body is None else body, headers=headers)


def edited(client, **request):
    answer = post(client, "edit", request)
    assert answer.status_code == 200, answer.text
    return answer.json()


def apart_m(one, other):
    """Largest distance between ends of the same gates, metres."""
    known = {gate.id: gate for gate in other.gates}
    return max(
        Geodesic.WGS84.Inverse(a[1], a[0], b[1], b[0])["s12"]
        for gate in one.gates
        for a, b in ((gate.left, known[gate.id].left), (gate.right, known[gate.id].right))
    )


# Saving


def test_what_is_saved_is_what_the_commands_make_for_the_same_places(
    client, path, tmp_path, capsys
):
    by_command = tmp_path / "command" / "block.geojson"
    by_command.parent.mkdir()
    by_command.write_bytes(path.read_bytes())
    edited(client, do="move", gate="gate-a", to_m=412.0)
    edited(client, do="move", gate="finish", to_m=23.4)
    state = edited(client, do="place", kind="sector", at_m=1000.0)
    edited(client, do="move", gate="gate-b", to_m=900.0, merge="drag")
    edited(client, do="move", gate="gate-b", to_m=733.0, merge="drag")
    edited(client, do="place", kind="speed", at_m=640.0)
    edited(client, do="remove", gate="gate-a")
    edited(client, do="move", gate="finish", to_m=-12.0)
    assert post(client, "save").json()["saved"]
    name = str(by_command)
    for command in (
        ["move", name, "gate-a", "412m"],
        ["move", name, "finish", "23.4m"],
        ["place", name, "sector", "1000m"],
        ["move", name, "gate-b", "733m"],
        ["place", name, "speed", "640m"],
        ["remove", name, "gate-a"],
        ["move", name, "finish", "-12m"],
    ):
        assert run(["gate", *command]) == 0
    capsys.readouterr()
    ours, theirs = read_track(path), read_track(by_command)

    assert len(state["gates"]) == 4
    assert apart_m(ours, theirs) < 0.01
    assert [(g.id, g.kind, g.order, g.name, g.surveyed) for g in ours.gates] == [
        (g.id, g.kind, g.order, g.name, g.surveyed) for g in theirs.gates
    ]
    assert [g.chainage_m for g in ours.gates] == pytest.approx(
        [g.chainage_m for g in theirs.gates], abs=0.011
    )
    assert [e["what"] for e in ours.history] == [e["what"] for e in theirs.history]
    assert len(ours.centreline.longitude_deg) == len(theirs.centreline.longitude_deg)


def test_saving_keeps_the_previous_file_beside_the_new_one(client, path):
    before = path.read_bytes()
    edited(client, do="move", gate="gate-a", to_m=400.0)
    saved = post(client, "save").json()

    assert path.with_name("block.geojson~").read_bytes() == before
    assert saved["previous"] == f"{path}~"
    assert not saved["state"]["unsaved"]
    assert sorted(p.name for p in path.parent.iterdir()) == ["block.geojson", "block.geojson~"]


def test_saving_twice_does_not_lose_the_file_that_was_there_before(client, path):
    before = path.read_bytes()
    edited(client, do="move", gate="gate-a", to_m=400.0)
    post(client, "save")
    written = path.read_bytes()
    again = post(client, "save").json()

    assert again["saved"]
    assert path.read_bytes() == written
    assert path.with_name("block.geojson~").read_bytes() == before


def test_saving_keeps_everything_the_page_does_not_show(client, path, block):
    edited(client, do="move", gate="gate-a", to_m=400.0)
    post(client, "save")
    saved = read_track(path)

    for member in ("accepted", "sources", "members", "foreign"):
        assert getattr(saved, member) == getattr(block, member)
    assert saved.history[0] == block.history[0]
    assert saved.history[1]["what"] == "moved gate gate-a from 347.0 m to 400.0 m"
    assert len(saved.history) == 2


def test_a_file_changed_on_disk_is_noticed_and_not_overwritten(client, path):
    edited(client, do="move", gate="gate-a", to_m=400.0)
    stamp = path.stat()
    theirs = path.read_bytes().replace(b"drew it", b"drew IT")
    path.write_bytes(theirs)
    # The same size and the same time: only what is in it tells.
    os.utime(path, ns=(stamp.st_atime_ns, stamp.st_mtime_ns))

    assert client.get(f"{AT}/disk").json()["changed_on_disk"] is True
    answer = post(client, "save")
    assert answer.status_code == 409
    assert answer.json()["changed_on_disk"] is True
    assert "was changed on disk meanwhile" in answer.json()["error"]
    assert path.read_bytes() == theirs


def test_saving_all_the_same_keeps_what_was_on_disk_beside_it(client, path):
    edited(client, do="move", gate="gate-a", to_m=400.0)
    theirs = path.read_bytes().replace(b"drew it", b"drew IT")
    path.write_bytes(theirs)

    assert post(client, "save", {"replace_changed": True}).json()["saved"]
    assert path.with_name("block.geojson~").read_bytes() == theirs
    assert read_track(path).gate("gate-a").chainage_m == pytest.approx(400.0, abs=0.01)
    assert client.get(f"{AT}/disk").json()["changed_on_disk"] is False


def test_a_file_that_was_deleted_is_written_again_only_when_asked(client, path):
    edited(client, do="move", gate="gate-a", to_m=400.0)
    path.unlink()

    disk = client.get(f"{AT}/disk").json()
    assert (disk["changed_on_disk"], disk["gone"]) == (True, True)
    answer = post(client, "save")
    assert answer.status_code == 409
    assert answer.json()["gone"] is True
    assert "was deleted or moved meanwhile" in answer.json()["error"]
    assert not path.exists()
    saved = post(client, "save", {"replace_changed": True}).json()
    assert saved["previous"] is None
    assert path.exists()


def test_taking_the_file_from_disk_can_be_undone(client, path, block):
    edited(client, do="move", gate="gate-a", to_m=400.0)
    other = replace(block, gates=tuple(g for g in block.gates if g.id != "gate-b"))
    write_track(other, path, force=True)
    shown = post(client, "reload").json()

    assert [g["id"] for g in shown["gates"]] == ["finish", "gate-a"]
    assert not shown["unsaved"]
    assert shown["base"] == 1
    back = edited(client, do="undo")
    assert back["base"] == 0
    assert back["unsaved"]
    assert back["gates"][1]["chainage_m"] == pytest.approx(400.0)


def test_a_broken_file_on_disk_is_not_taken(client, path):
    path.write_text("{")
    answer = post(client, "reload")

    assert answer.status_code == 400
    assert "is not valid JSON" in answer.json()["error"]
    assert len(client.get(f"{AT}/state").json()["gates"]) == 3
    assert client.get(f"{AT}/disk").json()["changed_on_disk"] is True


def test_a_folder_that_cannot_be_written_is_one_sentence(client, path, monkeypatch):
    # Root may write anywhere: the refusal is made where the operating system would make it.
    def refused(*args, **more):
        raise PermissionError(13, "Permission denied")

    edited(client, do="move", gate="gate-a", to_m=400.0)
    before = path.read_bytes()
    monkeypatch.setattr("tempfile.mkdtemp", refused)
    answer = post(client, "save")

    assert answer.status_code == 400
    assert answer.json() == {"error": f"{path}: cannot be written (Permission denied)"}
    assert path.read_bytes() == before
    assert client.get(f"{AT}/state").json()["unsaved"]


def test_an_edit_that_cannot_be_made_is_one_sentence(client, path):
    answer = post(client, "edit", {"do": "place", "kind": "finish", "at_m": 10.0})

    assert answer.status_code == 400
    assert f"`trackkit gate move {path} finish PLACE`" in answer.json()["error"]
    assert not client.get(f"{AT}/state").json()["can_undo"]


def test_edits_that_come_together_are_made_one_after_the_other(client):
    def work(number):
        for step in range(5):
            edited(client, do="move", gate="gate-a", to_m=350.0 + 10 * number + step)

    threads = [threading.Thread(target=work, args=(n,)) for n in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    shown = client.get(f"{AT}/state").json()

    assert shown["edit"] == 20
    for _ in range(20):
        shown = edited(client, do="undo")
    assert not shown["can_undo"]
    assert not shown["unsaved"]


def test_a_recording_shows_its_laps(path, recording):
    app = make_app(Desk(str(path), [recording], ["k.csv"]), TOKEN, PORT, small_page, Presence())
    with TestClient(app, base_url=HOME, headers={"origin": HOME}) as client:
        shown = edited(client, do="move", gate="gate-a", to_m=400.0, light=True, merge="d")
        assert client.get(f"{AT}/").status_code == 200
    assert sum(lap["complete"] for lap in shown["laps"]) >= 2


def test_the_page_is_served_with_its_session(client):
    answer = client.get(f"{AT}/")

    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("text/html")
    assert answer.text == f"<!doctype html><title>1</title>3 {TOKEN}"


# Whom it answers


@pytest.mark.parametrize("host", [f"{ADDRESS}:{PORT}", f"localhost:{PORT}", f"LOCALHOST:{PORT}"])
def test_this_computer_is_answered_under_both_its_names(client, host):
    assert client.get(f"{AT}/state", headers={"host": host}).status_code == 200


@pytest.mark.parametrize(
    "host",
    ["rebound.example", f"rebound.example:{PORT}", ADDRESS, f"{ADDRESS}:{PORT + 1}", "",
     f"{ADDRESS}:{PORT}.rebound.example", f"user@{ADDRESS}:{PORT}", f"[::1]:{PORT}"],
)  # fmt: skip
def test_a_name_that_was_made_to_point_here_is_refused(client, host):
    """DNS rebinding: the browser of a visitor asks us under the attacker's name."""
    answer = client.get(f"{AT}/state", headers={"host": host})

    assert answer.status_code == 403
    assert "gates" not in answer.text


@pytest.mark.parametrize(
    "origin",
    ["http://other.example", "null", f"https://{ADDRESS}:{PORT}", f"http://{ADDRESS}:{PORT + 1}",
     f"http://{ADDRESS}", ""],
)  # fmt: skip
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
    [(b"{", 400), (b"[]", 400), (b"\xff", 400), (b"[" * 30_000, 400), (b"7", 400),
     (b" " * LARGEST_BODY + b"{}", 413)],
)  # fmt: skip
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


def test_the_last_page_to_close_is_gone_after_a_while(client, presence, monkeypatch):
    monkeypatch.setattr("trackkit.editor.desk.CLOSED_S", 0.05)
    assert not presence.gone
    client.get(f"{AT}/")
    client.get(f"{AT}/")
    post(client, "closed")
    time.sleep(0.1)
    assert not presence.gone
    post(client, "closed")
    assert not presence.gone
    time.sleep(0.1)
    assert presence.gone
    client.get(f"{AT}/")
    time.sleep(0.1)
    assert not presence.gone


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


def test_without_the_packages_for_the_page_the_command_says_what_to_install(
    path, monkeypatch, capsys
):
    monkeypatch.setitem(sys.modules, "starlette", None)

    assert run(["edit", str(path)]) == 1
    said = capsys.readouterr().err
    assert "pip install 'trackkit[edit]'" in said
    assert said.count("\n") == 1


def test_a_file_that_is_no_track_file_is_refused_before_anything_is_served(tmp_path, capsys):
    other = tmp_path / "other.geojson"
    other.write_text("[]")

    assert run(["edit", str(other), "--no-browser"]) == 1
    assert "is JSON but no track file" in capsys.readouterr().err


# The real thing


class Served:
    """A process that serves a track file, and what it said."""

    def __init__(self, *arguments):
        self.process = subprocess.Popen(
            [sys.executable, "-m", "trackkit", "edit", "--no-browser", *map(str, arguments)],
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        self.address = self.process.stdout.readline().strip()

    def ask(self, route, body=None):
        origin = self.address.split("/")[2]
        request = urllib.request.Request(
            self.address + route,
            data=None if body is None else json.dumps(body).encode(),
            headers={"Content-Type": "application/json", "Origin": f"http://{origin}"},
        )
        with urllib.request.urlopen(request, timeout=20) as answer:
            return json.load(answer)


@pytest.fixture
def served():
    started = []

    def start(*arguments):
        started.append(Served(*arguments))
        return started[-1]

    yield start
    for one in started:
        one.process.kill()
        one.process.communicate()


def test_the_command_serves_edits_saves_and_stops_with_ctrl_c(served, path):
    one = served(path)
    host, port = one.address.split("/")[2].split(":")
    assert re.fullmatch(r"http://127\.0\.0\.1:\d+/[\w-]{22,}/", one.address)
    one.ask("edit", {"do": "move", "gate": "gate-a", "to_m": 400.0})
    assert one.ask("save", {})["saved"]
    one.ask("edit", {"do": "move", "gate": "gate-a", "to_m": 500.0})
    with pytest.raises(urllib.error.HTTPError, match="404"):
        urllib.request.urlopen(f"http://{host}:{port}/", timeout=20)
    one.process.send_signal(signal.SIGINT)
    _, said = one.process.communicate(timeout=20)

    assert one.process.returncode == 130
    assert "changes that were not saved are dropped" in said
    assert "Traceback" not in said
    assert read_track(path).gate("gate-a").chainage_m == pytest.approx(400.0, abs=0.01)
    with pytest.raises(ConnectionRefusedError), socket.create_connection((host, int(port))):
        pass


def test_the_command_stops_when_the_page_is_closed_if_asked(served, path):
    one = served(path, "--stop-when-closed")
    with urllib.request.urlopen(one.address, timeout=20) as answer:
        assert answer.status == 200
    one.ask("closed", {})
    one.process.communicate(timeout=20)

    assert one.process.returncode == 0
