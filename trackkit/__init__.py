"""trackkit makes, checks and shares the track files that GPS lap timing rests on.

>>> import trackkit
>>> track = trackkit.read_track(trackkit.open_library().find("pipwick-kart-circuit").path)
>>> drive = trackkit.simulate_drive(track, laps=1)
>>> trackkit.time_laps(track, drive.recording).best_lap.number
1
"""

from __future__ import annotations

import importlib

# typing.TYPE_CHECKING, which is the same to a type checker, costs the import of typing.
TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

    from trackkit.archive.add import ArchiveAddition as ArchiveAddition
    from trackkit.archive.add import add_to_archive as add_to_archive
    from trackkit.archive.ask import Archive as Archive
    from trackkit.archive.ask import open_archive as open_archive
    from trackkit.archive.forget import ArchiveForgetting as ArchiveForgetting
    from trackkit.archive.forget import forget_in_archive as forget_in_archive
    from trackkit.archive.refresh import ArchiveRefresh as ArchiveRefresh
    from trackkit.archive.refresh import refresh_archive as refresh_archive
    from trackkit.archive.unknown import UnknownPlace as UnknownPlace
    from trackkit.building.build import Build as Build
    from trackkit.building.build import build_track as build_track
    from trackkit.building.driven_pit_lane import set_driven_pit_lane as set_driven_pit_lane
    from trackkit.building.from_edges import build_between as build_between
    from trackkit.building.from_line import build_from_line as build_from_line
    from trackkit.building.new_layout import as_new_layout as as_new_layout
    from trackkit.building.revise import Revision as Revision
    from trackkit.building.revise import revise_track as revise_track
    from trackkit.checks.check import check_file as check_file
    from trackkit.checks.check import check_track as check_track
    from trackkit.checks.findings import Finding as Finding
    from trackkit.checks.findings import accept_finding as accept_finding
    from trackkit.checks.verdict import Judgement as Judgement
    from trackkit.checks.verdict import judge_track as judge_track
    from trackkit.checks.verdict import stored_verdict as stored_verdict
    from trackkit.editor.serve import serve_editor as serve_editor
    from trackkit.errors import TrackkitError as TrackkitError
    from trackkit.export.export import export_track as export_track
    from trackkit.frames.crossings import crossings_frame as crossings_frame
    from trackkit.frames.export import ExportedDrives as ExportedDrives
    from trackkit.frames.export import export_drives as export_drives
    from trackkit.frames.laps import laps_frame as laps_frame
    from trackkit.frames.laps import sectors_frame as sectors_frame
    from trackkit.frames.laps import traces_frame as traces_frame
    from trackkit.frames.plots import plot_difference as plot_difference
    from trackkit.frames.plots import plot_laps as plot_laps
    from trackkit.frames.tracks import to_frames as to_frames
    from trackkit.gates.edit import Change as Change
    from trackkit.gates.edit import move_gate as move_gate
    from trackkit.gates.edit import place_gate as place_gate
    from trackkit.gates.edit import remove_gate as remove_gate
    from trackkit.gates.edit import rename_gate as rename_gate
    from trackkit.gates.edit import widen_gate as widen_gate
    from trackkit.gates.gate_set import with_gate_set as with_gate_set
    from trackkit.gates.pit_lane import remove_pit_lane as remove_pit_lane
    from trackkit.gates.pit_lane import set_pit_lane as set_pit_lane
    from trackkit.gates.quality import TimingQuality as TimingQuality
    from trackkit.gates.quality import timing_quality as timing_quality
    from trackkit.gates.split import Split as Split
    from trackkit.gates.split import apply_suggestions as apply_suggestions
    from trackkit.gates.split import suggest_gates as suggest_gates
    from trackkit.gates.survey import survey_place as survey_place
    from trackkit.importing.import_track import Imported as Imported
    from trackkit.importing.import_track import import_track as import_track
    from trackkit.library.folders import Library as Library
    from trackkit.library.folders import open_library as open_library
    from trackkit.library.known import Known as Known
    from trackkit.library.known import Located as Located
    from trackkit.library.listing import Listed as Listed
    from trackkit.library.listing import list_library as list_library
    from trackkit.library.locate import locate as locate
    from trackkit.library.manage import Added as Added
    from trackkit.library.manage import add_to_library as add_to_library
    from trackkit.library.manage import remove_from_library as remove_from_library
    from trackkit.motion.drive import Drive as Drive
    from trackkit.official.align_finish import FinishAlignment as FinishAlignment
    from trackkit.official.align_finish import align_finish as align_finish
    from trackkit.official.align_finish import apply_alignment as apply_alignment
    from trackkit.official.pairing import Pairing as Pairing
    from trackkit.official.pairing import pair_official as pair_official
    from trackkit.official.times import OfficialTimes as OfficialTimes
    from trackkit.official.times import read_official as read_official
    from trackkit.open_map.import_circuits import MapImport as MapImport
    from trackkit.open_map.import_circuits import import_open_map as import_open_map
    from trackkit.pages.circuits import Listing as Listing
    from trackkit.pages.circuits import write_circuits as write_circuits
    from trackkit.pages.explain import write_explanation as write_explanation
    from trackkit.pages.explore import explore as explore
    from trackkit.pages.html import write_map as write_map
    from trackkit.paper.draw import write_paper as write_paper
    from trackkit.paper.plots import plot_track as plot_track
    from trackkit.recordings.channel import Channel as Channel
    from trackkit.recordings.drawn_lines import DrawnLine as DrawnLine
    from trackkit.recordings.drawn_lines import read_line as read_line
    from trackkit.recordings.read import read_recording as read_recording
    from trackkit.recordings.recording import Recording as Recording
    from trackkit.recordings.write import write_recording as write_recording
    from trackkit.remedies import Remedy as Remedy
    from trackkit.schemas.read import output_schema as output_schema
    from trackkit.simulation.simulate import Simulation as Simulation
    from trackkit.simulation.simulate import simulate_drive as simulate_drive
    from trackkit.simulation.simulate import write_simulation as write_simulation
    from trackkit.timing.differences import TimeDifference as TimeDifference
    from trackkit.timing.differences import time_difference as time_difference
    from trackkit.timing.lap_times import time_laps as time_laps
    from trackkit.timing.laps import Lap as Lap
    from trackkit.timing.losses import Loss as Loss
    from trackkit.timing.losses import lap_losses as lap_losses
    from trackkit.timing.many import time_many as time_many
    from trackkit.timing.report import LapReport as LapReport
    from trackkit.timing.rules import LapRules as LapRules
    from trackkit.track.describe import Description as Description
    from trackkit.track.describe import describe_track as describe_track
    from trackkit.track.diff import compare_tracks as compare_tracks
    from trackkit.track.diff_report import Comparison as Comparison
    from trackkit.track.facts import FactChange as FactChange
    from trackkit.track.facts import rename_corner as rename_corner
    from trackkit.track.facts import set_fact as set_fact
    from trackkit.track.features import Centreline as Centreline
    from trackkit.track.features import Corner as Corner
    from trackkit.track.features import Gate as Gate
    from trackkit.track.features import PitLane as PitLane
    from trackkit.track.file import read_track as read_track
    from trackkit.track.file import write_track as write_track
    from trackkit.track.model import Track as Track
    from trackkit.track.places import Place as Place
    from trackkit.track.reverse import reverse_track as reverse_track
    from trackkit.underlay.embed import EmbeddedPicture as EmbeddedPicture
    from trackkit.underlay.embed import embed_underlay as embed_underlay
    from trackkit.underlay.picture import Underlay as Underlay
    from trackkit.underlay.picture import read_underlay as read_underlay
    from trackkit.underlay.placed import write_placed_plan as write_placed_plan
    from trackkit.underlay.plan import PlacedPlan as PlacedPlan
    from trackkit.underlay.plan import place_plan as place_plan
    from trackkit.underlay.points import PlanPoint as PlanPoint
    from trackkit.underlay.points import read_plan_points as read_plan_points
    from trackkit.underlay.sheets import UnplacedPlan as UnplacedPlan

__version__ = "0.1.0"

_MODULES = {
    "Added": "library.manage",
    "Archive": "archive.ask",
    "ArchiveAddition": "archive.add",
    "ArchiveForgetting": "archive.forget",
    "ArchiveRefresh": "archive.refresh",
    "Build": "building.build",
    "Centreline": "track.features",
    "Change": "gates.edit",
    "Channel": "recordings.channel",
    "Comparison": "track.diff_report",
    "Corner": "track.features",
    "Description": "track.describe",
    "DrawnLine": "recordings.drawn_lines",
    "Drive": "motion.drive",
    "EmbeddedPicture": "underlay.embed",
    "ExportedDrives": "frames.export",
    "FactChange": "track.facts",
    "Finding": "checks.findings",
    "FinishAlignment": "official.align_finish",
    "Gate": "track.features",
    "Imported": "importing.import_track",
    "Judgement": "checks.verdict",
    "Known": "library.known",
    "Lap": "timing.laps",
    "LapReport": "timing.report",
    "LapRules": "timing.rules",
    "Library": "library.folders",
    "Listed": "library.listing",
    "Listing": "pages.circuits",
    "Located": "library.known",
    "Loss": "timing.losses",
    "MapImport": "open_map.import_circuits",
    "OfficialTimes": "official.times",
    "Pairing": "official.pairing",
    "PitLane": "track.features",
    "Place": "track.places",
    "PlacedPlan": "underlay.plan",
    "PlanPoint": "underlay.points",
    "Recording": "recordings.recording",
    "Remedy": "remedies",
    "Revision": "building.revise",
    "Simulation": "simulation.simulate",
    "Split": "gates.split",
    "TimeDifference": "timing.differences",
    "TimingQuality": "gates.quality",
    "Track": "track.model",
    "TrackkitError": "errors",
    "Underlay": "underlay.picture",
    "UnplacedPlan": "underlay.sheets",
    "UnknownPlace": "archive.unknown",
    "accept_finding": "checks.findings",
    "add_to_archive": "archive.add",
    "add_to_library": "library.manage",
    "align_finish": "official.align_finish",
    "apply_alignment": "official.align_finish",
    "apply_suggestions": "gates.split",
    "as_new_layout": "building.new_layout",
    "build_between": "building.from_edges",
    "build_from_line": "building.from_line",
    "build_track": "building.build",
    "check_file": "checks.check",
    "check_track": "checks.check",
    "compare_tracks": "track.diff",
    "crossings_frame": "frames.crossings",
    "describe_track": "track.describe",
    "embed_underlay": "underlay.embed",
    "explore": "pages.explore",
    "export_drives": "frames.export",
    "export_track": "export.export",
    "forget_in_archive": "archive.forget",
    "import_open_map": "open_map.import_circuits",
    "import_track": "importing.import_track",
    "judge_track": "checks.verdict",
    "lap_losses": "timing.losses",
    "laps_frame": "frames.laps",
    "list_library": "library.listing",
    "locate": "library.locate",
    "move_gate": "gates.edit",
    "open_archive": "archive.ask",
    "open_library": "library.folders",
    "output_schema": "schemas.read",
    "pair_official": "official.pairing",
    "place_gate": "gates.edit",
    "place_plan": "underlay.plan",
    "plot_difference": "frames.plots",
    "plot_laps": "frames.plots",
    "plot_track": "paper.plots",
    "read_line": "recordings.drawn_lines",
    "read_official": "official.times",
    "read_plan_points": "underlay.points",
    "read_recording": "recordings.read",
    "read_track": "track.file",
    "read_underlay": "underlay.picture",
    "refresh_archive": "archive.refresh",
    "remove_from_library": "library.manage",
    "remove_gate": "gates.edit",
    "remove_pit_lane": "gates.pit_lane",
    "rename_corner": "track.facts",
    "rename_gate": "gates.edit",
    "reverse_track": "track.reverse",
    "revise_track": "building.revise",
    "sectors_frame": "frames.laps",
    "serve_editor": "editor.serve",
    "set_driven_pit_lane": "building.driven_pit_lane",
    "set_fact": "track.facts",
    "set_pit_lane": "gates.pit_lane",
    "simulate_drive": "simulation.simulate",
    "stored_verdict": "checks.verdict",
    "suggest_gates": "gates.split",
    "survey_place": "gates.survey",
    "time_difference": "timing.differences",
    "time_laps": "timing.lap_times",
    "time_many": "timing.many",
    "timing_quality": "gates.quality",
    "to_frames": "frames.tracks",
    "traces_frame": "frames.laps",
    "widen_gate": "gates.edit",
    "with_gate_set": "gates.gate_set",
    "write_circuits": "pages.circuits",
    "write_explanation": "pages.explain",
    "write_map": "pages.html",
    "write_paper": "paper.draw",
    "write_placed_plan": "underlay.placed",
    "write_recording": "recordings.write",
    "write_simulation": "simulation.simulate",
    "write_track": "track.file",
}
"""The modules that hold the public names; each is loaded when a name of it is first used."""

__all__ = [
    "Added",
    "Archive",
    "ArchiveAddition",
    "ArchiveForgetting",
    "ArchiveRefresh",
    "Build",
    "Centreline",
    "Change",
    "Channel",
    "Comparison",
    "Corner",
    "Description",
    "DrawnLine",
    "Drive",
    "EmbeddedPicture",
    "ExportedDrives",
    "FactChange",
    "Finding",
    "FinishAlignment",
    "Gate",
    "Imported",
    "Judgement",
    "Known",
    "Lap",
    "LapReport",
    "LapRules",
    "Library",
    "Listed",
    "Listing",
    "Located",
    "Loss",
    "MapImport",
    "OfficialTimes",
    "Pairing",
    "PitLane",
    "Place",
    "PlacedPlan",
    "PlanPoint",
    "Recording",
    "Remedy",
    "Revision",
    "Simulation",
    "Split",
    "TimeDifference",
    "TimingQuality",
    "Track",
    "TrackkitError",
    "Underlay",
    "UnknownPlace",
    "UnplacedPlan",
    "__version__",
    "accept_finding",
    "add_to_archive",
    "add_to_library",
    "align_finish",
    "apply_alignment",
    "apply_suggestions",
    "as_new_layout",
    "build_between",
    "build_from_line",
    "build_track",
    "check_file",
    "check_track",
    "compare_tracks",
    "crossings_frame",
    "describe_track",
    "embed_underlay",
    "explore",
    "export_drives",
    "export_track",
    "forget_in_archive",
    "import_open_map",
    "import_track",
    "judge_track",
    "lap_losses",
    "laps_frame",
    "list_library",
    "locate",
    "move_gate",
    "open_archive",
    "open_library",
    "output_schema",
    "pair_official",
    "place_gate",
    "place_plan",
    "plot_difference",
    "plot_laps",
    "plot_track",
    "read_line",
    "read_official",
    "read_plan_points",
    "read_recording",
    "read_track",
    "read_underlay",
    "refresh_archive",
    "remove_from_library",
    "remove_gate",
    "remove_pit_lane",
    "rename_corner",
    "rename_gate",
    "reverse_track",
    "revise_track",
    "sectors_frame",
    "serve_editor",
    "set_driven_pit_lane",
    "set_fact",
    "set_pit_lane",
    "simulate_drive",
    "stored_verdict",
    "suggest_gates",
    "survey_place",
    "time_difference",
    "time_laps",
    "time_many",
    "timing_quality",
    "to_frames",
    "traces_frame",
    "widen_gate",
    "with_gate_set",
    "write_circuits",
    "write_explanation",
    "write_map",
    "write_paper",
    "write_placed_plan",
    "write_recording",
    "write_simulation",
    "write_track",
]


def __getattr__(name: str) -> Any:
    if name not in _MODULES:
        raise AttributeError(f"module 'trackkit' has no attribute {name!r}")
    value = getattr(importlib.import_module(f"trackkit.{_MODULES[name]}"), name)
    globals()[name] = value
    return value


_VIEWS = {"document": "track.encoding:track_to_document", "page": "pages.notebook:framed_page"}


def view_of(kind: str, thing: object) -> Any:
    """Make a view of something that a room above the one it is of knows how to make."""
    module, _, maker = _VIEWS[kind].partition(":")
    return getattr(importlib.import_module(f"trackkit.{module}"), maker)(thing)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
