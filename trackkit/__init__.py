"""trackkit makes, checks and shares the track files that GPS lap timing rests on.

>>> import trackkit
>>> track = trackkit.read_track("circuit.geojson")  # doctest: +SKIP
>>> report = trackkit.time_laps(track, trackkit.read_recording("monday.nmea"))  # doctest: +SKIP
"""

from __future__ import annotations

import importlib

# typing.TYPE_CHECKING, which is the same to a type checker, costs the import of typing.
TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

    from trackkit.building.build import Build as Build
    from trackkit.building.build import build_track as build_track
    from trackkit.building.from_edges import build_between as build_between
    from trackkit.building.from_line import build_from_line as build_from_line
    from trackkit.building.revise import Revision as Revision
    from trackkit.building.revise import revise_track as revise_track
    from trackkit.checks.check import check_track as check_track
    from trackkit.checks.findings import Finding as Finding
    from trackkit.errors import TrackkitError as TrackkitError
    from trackkit.export.export import export_track as export_track
    from trackkit.gates.edit import Change as Change
    from trackkit.gates.edit import move_gate as move_gate
    from trackkit.gates.edit import place_gate as place_gate
    from trackkit.gates.edit import remove_gate as remove_gate
    from trackkit.gates.edit import rename_gate as rename_gate
    from trackkit.gates.edit import widen_gate as widen_gate
    from trackkit.motion.drive import Drive as Drive
    from trackkit.pages.html import write_map as write_map
    from trackkit.recordings.drawn_lines import DrawnLine as DrawnLine
    from trackkit.recordings.drawn_lines import read_line as read_line
    from trackkit.recordings.read import read_recording as read_recording
    from trackkit.recordings.recording import Recording as Recording
    from trackkit.recordings.write import write_recording as write_recording
    from trackkit.remedies import Remedy as Remedy
    from trackkit.simulation.simulate import Simulation as Simulation
    from trackkit.simulation.simulate import simulate_drive as simulate_drive
    from trackkit.timing.lap_times import time_laps as time_laps
    from trackkit.timing.laps import Lap as Lap
    from trackkit.timing.many import time_many as time_many
    from trackkit.timing.report import LapReport as LapReport
    from trackkit.track.diff import compare_tracks as compare_tracks
    from trackkit.track.diff_report import Comparison as Comparison
    from trackkit.track.file import read_track as read_track
    from trackkit.track.file import write_track as write_track
    from trackkit.track.model import Centreline as Centreline
    from trackkit.track.model import Corner as Corner
    from trackkit.track.model import Gate as Gate
    from trackkit.track.model import PitLane as PitLane
    from trackkit.track.model import Track as Track
    from trackkit.track.places import Place as Place

__version__ = "0.1.0"

_MODULES = {
    "Build": "building.build",
    "Centreline": "track.model",
    "Change": "gates.edit",
    "Comparison": "track.diff_report",
    "Corner": "track.model",
    "DrawnLine": "recordings.drawn_lines",
    "Drive": "motion.drive",
    "Finding": "checks.findings",
    "Gate": "track.model",
    "Lap": "timing.laps",
    "LapReport": "timing.report",
    "PitLane": "track.model",
    "Place": "track.places",
    "Recording": "recordings.recording",
    "Remedy": "remedies",
    "Revision": "building.revise",
    "Simulation": "simulation.simulate",
    "Track": "track.model",
    "TrackkitError": "errors",
    "build_between": "building.from_edges",
    "build_from_line": "building.from_line",
    "build_track": "building.build",
    "check_track": "checks.check",
    "compare_tracks": "track.diff",
    "export_track": "export.export",
    "move_gate": "gates.edit",
    "place_gate": "gates.edit",
    "read_line": "recordings.drawn_lines",
    "read_recording": "recordings.read",
    "read_track": "track.file",
    "remove_gate": "gates.edit",
    "rename_gate": "gates.edit",
    "revise_track": "building.revise",
    "simulate_drive": "simulation.simulate",
    "time_laps": "timing.lap_times",
    "time_many": "timing.many",
    "widen_gate": "gates.edit",
    "write_map": "pages.html",
    "write_recording": "recordings.write",
    "write_track": "track.file",
}
"""The rooms that hold the public names; each is loaded when a name of it is first used."""

__all__ = [
    "Build",
    "Centreline",
    "Change",
    "Comparison",
    "Corner",
    "DrawnLine",
    "Drive",
    "Finding",
    "Gate",
    "Lap",
    "LapReport",
    "PitLane",
    "Place",
    "Recording",
    "Remedy",
    "Revision",
    "Simulation",
    "Track",
    "TrackkitError",
    "__version__",
    "build_between",
    "build_from_line",
    "build_track",
    "check_track",
    "compare_tracks",
    "export_track",
    "move_gate",
    "place_gate",
    "read_line",
    "read_recording",
    "read_track",
    "remove_gate",
    "rename_gate",
    "revise_track",
    "simulate_drive",
    "time_laps",
    "time_many",
    "widen_gate",
    "write_map",
    "write_recording",
    "write_track",
]


def __getattr__(name: str) -> Any:
    if name not in _MODULES:
        raise AttributeError(f"module 'trackkit' has no attribute {name!r}")
    value = getattr(importlib.import_module(f"trackkit.{_MODULES[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
