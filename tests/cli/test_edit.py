"""``trackkit edit``: serving until it is stopped, and what it refuses before."""

import json
import re
import signal
import socket
import subprocess
import sys
import urllib.error
import urllib.request

import pytest
import served_block

from trackkit.cli import run
from trackkit.recordings.write import write_recording
from trackkit.simulation.simulate import simulate_drive
from trackkit.track.file import read_track, write_track


@pytest.fixture
def path(tmp_path):
    write_track(served_block.block(), tmp_path / "block.geojson")
    return tmp_path / "block.geojson"


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


@pytest.fixture
def plan(tmp_path):
    image = pytest.importorskip("PIL.Image")
    image.new("RGB", (60, 40), "white").save(tmp_path / "plan.png")
    return tmp_path / "plan.png"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--underlay-crs", "EPSG:32644"], "pair places on the page"),
        (["--underlay-page", "0"], "--underlay-page"),
    ],
)
def test_options_that_do_not_go_with_a_plan_are_refused(path, plan, words, said, capsys):
    assert run(["edit", str(path), "--underlay", str(plan), *words]) == 2
    assert said in capsys.readouterr().err


def test_a_page_of_no_plan_is_refused(path, capsys):
    assert run(["edit", str(path), "--underlay-page", "2"]) == 2
    assert "give it with --underlay" in capsys.readouterr().err


def test_a_page_that_a_pdf_has_not_is_one_sentence(path, tmp_path, capsys):
    from matplotlib.figure import Figure

    pytest.importorskip("pypdfium2")
    Figure().savefig(tmp_path / "plan.pdf")
    words = ["--underlay", str(tmp_path / "plan.pdf"), "--underlay-page", "3", "--no-browser"]
    assert run(["edit", str(path), *words]) == 1
    assert "has 1 pages, and none numbered 3" in capsys.readouterr().err


class Served:
    """A process that serves a track file, and what it said."""

    def __init__(self, *arguments):
        self.process = subprocess.Popen(
            [sys.executable, "-m", "trackkit", "edit", "--no-browser", *map(str, arguments)],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
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


@pytest.mark.slow
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


@pytest.mark.slow
def test_the_command_stops_when_the_page_is_closed_if_asked(served, path):
    one = served(path, "--stop-when-closed")
    with urllib.request.urlopen(one.address, timeout=20) as answer:
        assert answer.status == 200
    one.ask("closed", {})
    one.process.communicate(timeout=20)

    assert one.process.returncode == 0


@pytest.mark.slow
def test_the_page_names_recordings_by_the_table_of_drivers_and_by_labels(path, monkeypatch, capsys):
    outing = simulate_drive(read_track(path), laps=1, rate_hz=5.0, seed=1)
    recording = path.parent / "a.nmea"
    write_recording(outing.recording, recording)
    (path.parent / "drivers.csv").write_text("file,driver\na.nmea,Ada\n")
    shown = []

    def serve(desk, listening, *_, **__):
        listening.close()
        shown.extend(row["file"] for row in desk.base()["recordings"])
        return True

    monkeypatch.setattr("trackkit.editor.serve.serve", serve)
    words = ["edit", str(path), str(recording), "--no-browser"]

    assert run(words) == 0
    assert run([*words, "--label", "Bo"]) == 0
    assert shown == [f"Ada ({recording})", f"Bo ({recording})"]
    assert run([*words, "--label", "Bo", "--label", "Cy"]) == 2
    assert "1 recording and 2 labels" in capsys.readouterr().err


def test_a_plan_is_served_with_the_page_and_its_unsaved_points_are_told(path, plan, served):
    one = served(path, "--underlay", plan, "--credit", "A. Painter")
    shown = one.ask("plan")
    assert (shown["file"], shown["credit"]) == ("plan.png", "A. Painter")
    pair = {"x": 1.0, "y": 2.0, "at": [5.0, 24.0]}
    one.ask("plan/pairs", {"pairs": [pair], "fit": "affine"})
    one.process.send_signal(signal.SIGINT)
    _, said = one.process.communicate(timeout=20)

    assert "plan.png: its points were not saved, and are dropped" in said
