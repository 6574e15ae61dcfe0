"""`import trackkit` offers the public names, typed, and loads nothing until one is used."""

from __future__ import annotations

import ast
import importlib
import subprocess
import sys
from pathlib import Path

import pytest

import trackkit

LISTED = {
    "read_recording",
    "write_recording",
    "read_line",
    "read_track",
    "write_track",
    "build_track",
    "revise_track",
    "place_gate",
    "move_gate",
    "remove_gate",
    "check_track",
    "compare_tracks",
    "time_laps",
    "time_many",
    "export_track",
    "write_map",
    "simulate_drive",
    "suggest_gates",
    "align_finish",
    "reverse_track",
    "describe_track",
    "accept_finding",
    "open_library",
    "locate",
    "list_library",
    "add_to_library",
    "remove_from_library",
    "serve_editor",
    "Track",
    "Centreline",
    "Gate",
    "Corner",
    "PitLane",
    "Recording",
    "Drive",
    "LapReport",
    "Lap",
    "Finding",
    "TrackkitError",
}


def typed_names() -> dict[str, str]:
    """Names a type checker sees, and the rooms it finds them in."""
    tree = ast.parse(Path(trackkit.__file__).read_text("utf-8"))
    (block,) = (
        node
        for node in tree.body
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING"
    )
    found = {}
    _, *imports = block.body  # the first is typing's
    for node in imports:
        assert isinstance(node, ast.ImportFrom)
        for alias in node.names:
            assert alias.asname == alias.name, "only a name given again is re-exported"
            found[alias.name] = str(node.module).removeprefix("trackkit.")
    return found


def test_the_table_the_types_and_the_list_of_names_are_one():
    assert typed_names() == trackkit._MODULES
    assert [*sorted(trackkit._MODULES), "__version__"] == sorted(
        trackkit.__all__, key=lambda name: (name == "__version__", name)
    )
    assert set(trackkit._MODULES) >= LISTED


@pytest.mark.parametrize("name", sorted(trackkit._MODULES))
def test_every_name_is_there_and_is_that_of_its_room(name):
    room = importlib.import_module(f"trackkit.{trackkit._MODULES[name]}")

    assert getattr(trackkit, name) is getattr(room, name)
    assert getattr(trackkit, name).__module__ == room.__name__
    assert name in dir(trackkit)
    assert getattr(trackkit, name).__doc__


def test_a_name_that_is_not_there_is_refused_as_python_does():
    with pytest.raises(AttributeError, match="module 'trackkit' has no attribute 'no_such_verb'"):
        _ = trackkit.no_such_verb


def loaded_by(statement: str) -> set[str]:
    said = subprocess.run(
        [sys.executable, "-c", f"{statement}; import sys; print(*sys.modules)"],
        check=True,
        capture_output=True,
        text=True,
    )
    return set(said.stdout.split())


def test_import_loads_nothing_that_is_not_needed_yet():
    more = loaded_by("import trackkit") - loaded_by("import __future__, importlib")

    assert more == {"trackkit"}


def test_import_takes_less_than_50_ms_beyond_pythons_own():
    # The least of several: another program may hold the processor.
    said = [
        subprocess.run(
            [sys.executable, "-X", "importtime", "-c", "import trackkit"],
            check=True,
            capture_output=True,
            text=True,
        ).stderr.splitlines()[-1]
        for _ in range(5)
    ]
    assert all(line.endswith("| trackkit") for line in said)
    assert min(int(line.split("|")[1]) for line in said) < 50_000


@pytest.mark.slow
def test_a_consumer_under_strict_mypy_sees_every_name(tmp_path):
    consumer = tmp_path / "consumer.py"
    names = sorted(trackkit._MODULES)
    uses = "\n".join(f"reveal_type(trackkit.{name})" for name in names)
    consumer.write_text(
        f"""import trackkit
from trackkit import {", ".join(names)}

track: trackkit.Track = trackkit.read_track("circuit.geojson")
change = trackkit.place_gate(track, "sector", 412.0)
trackkit.write_track(change.track, "circuit.geojson", force=True)
report: trackkit.LapReport
for report in trackkit.time_many(track, ["monday.nmea"]):
    best: float | None = report.best_lap_s
{uses}
"""
    )
    pytest.importorskip("mypy")
    # By itself: what else is installed beside it mypy would take for the user's own modules.
    packages = tmp_path / "packages"
    packages.mkdir()
    (packages / "trackkit").symlink_to(Path(trackkit.__file__).parent)
    said = subprocess.run(
        # Types of other packages are not looked at, which takes seven times as long.
        [
            sys.executable,
            "-m",
            "mypy",
            "--strict",
            "--config-file=",
            "--no-site-packages",
            "--cache-dir=/dev/null",
            str(consumer),
        ],
        check=False,
        capture_output=True,
        text=True,
        cwd=tmp_path,
        env={
            "PATH": "/usr/bin:/bin",
            "MYPYPATH": str(packages),
            "PYTHONPATH": str(Path(trackkit.__file__).parents[1]),
        },
    )
    told = [line for line in said.stdout.splitlines() if "consumer.py" in line]
    assert [line for line in told if ": error:" in line] == []
    revealed = [line for line in told if "Revealed type is" in line]
    assert len(revealed) == len(names)
    assert [line for line in revealed if '"Any"' in line] == []
