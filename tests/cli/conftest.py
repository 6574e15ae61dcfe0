"""What tests of commands share: a user without libraries, two layouts, an invented circuit."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import click
import numpy as np
import pytest
from jsonschema.exceptions import best_match
from long_and_short import LAYOUTS
from output_schemas import validator

from trackkit.building.from_line import build_from_line
from trackkit.cli import run
from trackkit.geometry.geodesy import LocalPlane
from trackkit.library.folders import ENVIRONMENT_VARIABLE
from trackkit.recordings.write import write_recording
from trackkit.simulation.simulate import simulate_drive
from trackkit.track.file import write_track


@pytest.fixture
def home(monkeypatch, tmp_path):
    monkeypatch.delenv(ENVIRONMENT_VARIABLE, raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    return tmp_path


@pytest.fixture
def library(home):
    folder = home / "tracks"
    folder.mkdir()
    for track in LAYOUTS.values():
        write_track(track, folder / f"{track.id}.geojson")
    return folder


@pytest.fixture
def session(home):
    path = home / "session.nmea"
    write_recording(simulate_drive(LAYOUTS["long"], laps=1, rate_hz=5).recording, path)
    return path


@pytest.fixture(scope="session")
def bean_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with an invented circuit of about 1 km, and a practice session driven over it."""
    made = tmp_path_factory.mktemp("bean")
    turn = np.linspace(0, 2 * np.pi, 400)
    outline = np.stack([180 * np.cos(turn) + 25 * np.cos(2 * turn), 110 * np.sin(turn)], axis=-1)
    longitude, latitude = LocalPlane(-30.5, -41.2).to_geographic(outline)
    built = build_from_line(longitude, latitude, "Invented Bean", sectors=3)
    write_track(built.track, made / "bean.geojson")
    assert (
        run(["simulate", str(made / "bean.geojson"), "-o", str(made / "s.nmea"), "--laps", "3"])
        == 0
    )
    return made


@pytest.fixture
def bean(bean_folder: Path, tmp_path: Path) -> Path:
    """A copy of the circuit to change."""
    return Path(shutil.copy(bean_folder / "bean.geojson", tmp_path / "bean.geojson"))


@pytest.fixture
def bean_session(bean_folder: Path) -> Path:
    return bean_folder / "s.nmea"


@pytest.fixture(autouse=True)
def json_as_promised(monkeypatch: pytest.MonkeyPatch) -> None:
    """Hold every document that a command prints with --json to its schema."""
    monkeypatch.setattr("trackkit.cli.common.json", _Checked)


class _Checked:
    """The module json, whose documents are held to the schema of the command that runs."""

    JSONDecodeError = json.JSONDecodeError
    loads = json.loads

    @staticmethod
    def dumps(document: Any, **how: Any) -> str:
        """Write a document that is as it was promised."""
        text = json.dumps(document, **how)
        context = click.get_current_context(silent=True)
        if context is not None:
            command = context.command_path.partition(" ")[2]
            if command != "schema":
                problems = list(validator(command).iter_errors(json.loads(text)))
                assert not problems, f"{command} --json: {best_match(problems)}"
        return text
