"""``trackkit laps``: lap and sector times of recordings."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from trackkit.caution import TRAINING
from trackkit.cli.circuits import track_and_recordings
from trackkit.cli.common import (
    Command,
    columns_option,
    force_option,
    gates_option,
    json_option,
    metres_along_vehicle,
    parse_columns,
    print_json,
    refuse_outputs,
    remark,
    remarks,
    units_option,
)
from trackkit.cli.drives import skipped_option, tell_skipped
from trackkit.cli.recording_folders import label_option
from trackkit.cli.remedies import error_sentence
from trackkit.errors import TrackkitError
from trackkit.timing.driven_files import Entry
from trackkit.timing.rules import GAP_S, STAND_S, WITHIN, LapRules
from trackkit.track.digest import short_digest

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from trackkit.cli.laps_work import Item, Job, Untimed
    from trackkit.official.pairing import Pairing
    from trackkit.timing.losses import SessionSections
    from trackkit.timing.sessions import Reference, Session
    from trackkit.timing.traces import TraceLines
    from trackkit.track.model import Track

_FITS_S = 1.0
"""Nearer than this a recorded lap may be the one of an official time."""


def _reference(ctx: click.Context, param: click.Parameter, value: str | None) -> str | None:  # noqa: ARG001
    if value is not None and not re.fullmatch(r"(\d+\.)?\d+", value.rpartition(":")[2]):
        raise click.BadParameter(f"{value!r} does not end with a lap number")
    return value


@click.command(cls=Command)
@click.argument("words", nargs=-1, required=True, metavar="[TRACK] RECORDING|FOLDER...")
@label_option
@click.option(
    "--reference",
    callback=_reference,
    metavar="[RECORDING:][SESSION.]N",
    help="Lap that the others are compared with; the recording by its file or label.  "
    "[default: the best of all]",
)
@gates_option
@click.option(
    "--session-stand",
    type=click.FloatRange(0, min_open=True),
    default=STAND_S,
    show_default=True,
    metavar="SECONDS",
    help="A session ends where the vehicle stands so long.",
)
@click.option(
    "--session-gap",
    type=click.FloatRange(0, min_open=True),
    default=GAP_S,
    show_default=True,
    metavar="SECONDS",
    help="A session ends where fixes are missing for so long.",
)
@click.option(
    "--within",
    type=click.FloatRange(100, min_open=True),
    default=100 * WITHIN,
    show_default=True,
    metavar="PERCENT",
    help="A lap counts within this of its session's best.",
)
@click.option(
    "--all-laps", is_flag=True, help="Count laps with something wrong with them all the same."
)
@click.option(
    "--antenna-ahead",
    callback=metres_along_vehicle,
    default="0",
    metavar="M",
    help="How far the antenna is ahead of the vehicle's nose, which crosses the line; negative if "
    "it is behind.",
)
@click.option(
    "--details", is_flag=True, help="Print splits, differences and speeds of every sector too."
)
@click.option(
    "--official",
    metavar="FILE.csv",
    help="Official lap times of one driver, to be paired with the laps of each recording.",
)
@click.option(
    "--official-columns",
    metavar="NAME=COLUMN,...",
    help="Which columns of the official times hold what: lap, time, sector1, sector2, ...",
)
@click.option("--csv", "csv_path", metavar="FILE.csv", help="Write laps and sectors as CSV.")
@click.option(
    "--summary", metavar="FILE.csv", help="Write the summary of each driver and of the day as CSV."
)
@click.option(
    "--traces",
    metavar="FILE.csv",
    help="Write elapsed time, speed and acceleration against chainage as CSV.",
)
@click.option(
    "--losses",
    "with_losses",
    is_flag=True,
    help="List where each recording's best lap lost time to the reference lap, by corner and "
    "straight; with --json for all laps.",
)
@skipped_option
@columns_option
@force_option
@units_option
@json_option
@click.pass_context
def laps(
    ctx: click.Context,
    words: tuple[str, ...],
    labels: tuple[str, ...],
    reference: str | None,
    gates: str | None,
    session_stand: float,
    session_gap: float,
    within: float,
    all_laps: bool,
    antenna_ahead: float,
    details: bool,
    official: str | None,
    official_columns: str | None,
    csv_path: str | None,
    summary: str | None,
    traces: str | None,
    with_losses: bool,
    skipped: bool,
    columns: str | None,
    force: bool,
    as_json: bool,
) -> None:
    """Time the laps and sectors of recordings over a track.

    TRACK is a track file, or the id of one in the library; without it the circuit, the layout and
    the direction are located. A folder stands for the recordings in it. A table drivers.csv beside
    the recordings (columns file, driver, vehicle, class, notes) names them.

    Times are followed by their uncertainty, one sigma, and have as many decimals as that supports.
    Time nothing where the organiser or the insurer forbids it.
    """
    from trackkit import pair_official, read_official
    from trackkit.cli.laps_work import Job, items_of
    from trackkit.timing.sessions import choose_reference

    track_path, named = track_and_recordings(words)
    ctx.params["track_path"] = track_path
    if not named and track_path == words[0] and not Path(track_path).exists():
        raise TrackkitError("no such file", file=track_path)
    if not named:
        raise click.UsageError("name a recording, or a folder of them, after the track")
    tables = {"--csv": csv_path, "--summary": summary, "--traces": traces}
    refuse_outputs(tables, force=force)
    items, entries = items_of(named, labels)
    mapping = parse_columns(columns)
    times = None
    if official is not None:
        times = read_official(official, parse_columns(official_columns))
        remarks(times.remarks, official)
    rules = LapRules(session_stand, session_gap, within / 100, all_laps)
    wants_traces = traces is not None
    job = Job(track_path, mapping, rules, wants_traces, antenna_ahead, with_losses, gates)
    gathered = _gather(items, job)
    circuits = gathered.circuits
    every = [session for circuit in circuits for session in circuit.sessions]
    named_lap = choose_reference(every, reference)
    for circuit in circuits:
        circuit.zone = _zone(circuit.track)
        is_named = reference is not None and named_lap and named_lap.session in circuit.sessions
        circuit.chosen = named_lap if is_named else choose_reference(circuit.sessions)
        circuit.pairings = [
            None if times is None else pair_official(times, session.report)
            for session in circuit.sessions
        ]
    if times is not None and len(circuits) > 1:
        _keep_official(circuits, str(official))
    # Written first: whoever reads the tables may stop reading before their end.
    _write(gathered, entries, tables, force=force)
    if as_json:
        print_json(_document(gathered, entries, track_path))
    else:
        _print(circuits, entries, details=details)
    tell_skipped(gathered.untimed.skipped, named=skipped)
    if not (every or gathered.untimed.unplaced or gathered.untimed.failed):
        remark(f"{', '.join(named)}: no recording to time")
    if any(session.report.laps for circuit in circuits for session in circuit.sessions):
        remark(TRAINING)
    if gathered.untimed.failed:
        ctx.exit(1)


def _keep_official(circuits: Sequence[_Circuit], official: str) -> None:
    """Leave official times with the one circuit, of several, whose laps they fit.

    Raises
    ------
    TrackkitError
        When they fit those of none, or no better than those of another.
    """

    def fitting(circuit: _Circuit) -> int:
        pairs = [pair for pairing in circuit.pairings if pairing for pair in pairing.pairs]
        return sum(abs(pair.difference_s) < _FITS_S and not pair.outlier for pair in pairs)

    best, second, *_ = sorted(circuits, key=fitting, reverse=True)
    if fitting(best) <= 2 * fitting(second):
        titles = ", ".join(circuit.track.title for circuit in circuits)
        raise TrackkitError(
            f"could be of any of the {len(circuits)} circuits that were driven ({titles})",
            file=official,
            remedy=f"name its circuit: trackkit laps {best.track.id} RECORDING... "
            f"--official {official}",
        )
    remark(f"{official}: these are taken as times of {best.track.title}, whose laps they fit")
    for circuit in circuits:
        if circuit is not best:
            circuit.pairings = [None] * len(circuit.sessions)


def _print(circuits: Sequence[_Circuit], entries: Mapping[str, Entry], *, details: bool) -> None:
    from trackkit.cli.laptext import print_sessions
    from trackkit.cli.losses_text import print_losses
    from trackkit.cli.summary_text import is_worth_a_summary, print_summaries
    from trackkit.timing.summary import summaries

    for number, circuit in enumerate(circuits):
        if number:
            click.echo()
        if is_worth_a_summary(circuit.sessions):
            print_summaries(summaries(circuit.sessions, _drivers(entries)), circuit.zone)
        print_sessions(
            circuit.track,
            circuit.sessions,
            circuit.chosen,
            circuit.zone,
            circuit.pairings,
            details=details,
        )
        if circuit.chosen is not None and circuit.sections:
            print_losses(circuit.sessions, circuit.sections, circuit.chosen)
        if circuit.sessions:
            digest = short_digest(circuit.track)
            click.echo(f"geometry {digest}: the same letters, the same line and gates")


def _drivers(entries: Mapping[str, Entry]) -> dict[str, str]:
    return {path: entry.driver for path, entry in entries.items() if entry.driver}


@dataclass(eq=False)
class _Circuit:
    """The recordings of one circuit, and what they are compared with."""

    track: Track
    sessions: list[Session] = field(default_factory=list)
    zone: ZoneInfo | None = None
    chosen: Reference | None = None
    pairings: list[Pairing | None] = field(default_factory=list)
    sections: list[SessionSections] = field(default_factory=list)


@dataclass(eq=False)
class _Gathered:
    """All that came of the recordings."""

    untimed: Untimed
    circuits: list[_Circuit] = field(default_factory=list)
    traces: list[TraceLines] = field(default_factory=list)


def _gather(items: Sequence[Item], job: Job) -> _Gathered:
    """Time recordings, those of each circuit together, and say what is wrong with any."""
    from trackkit import read_track, with_gate_set
    from trackkit.cli.laps_work import Untimed, counted_each, timed_each
    from trackkit.timing.sessions import Session

    gathered = _Gathered(Untimed())
    by_id: dict[str, _Circuit] = {}
    for timed in counted_each(timed_each(items, job), gathered.untimed):
        if timed.circuit is None or timed.report is None:
            continue
        track = timed.circuit.track
        circuit = by_id.setdefault(track.id, _Circuit(track))
        circuit.sessions.append(Session(timed.item.path, timed.item.label, timed.report))
        if timed.sections is not None:
            circuit.sections.append(timed.sections)
        if timed.traces is not None:
            gathered.traces.append(timed.traces)
    gathered.circuits = list(by_id.values())
    if job.track_path is not None and not by_id:
        track = read_track(job.track_path)
        gathered.circuits = [
            _Circuit(track if job.gates is None else with_gate_set(track, job.gates))
        ]
    return gathered


def _zone(track: Track) -> ZoneInfo | None:
    from trackkit.timing.sessions import time_zone

    try:
        return time_zone(track)
    except TrackkitError as error:
        remark(error_sentence(error))
        return None


def _document(
    gathered: _Gathered, entries: Mapping[str, Entry], track_path: str | None
) -> dict[str, Any]:
    """Lay out the answer: of one circuit as ever, of several one part each."""
    parts = [_circuit_row(circuit, entries) for circuit in gathered.circuits]
    whole = {
        "track": None,
        "geometry": None,
        "timezone": None,
        "licence": None,
        "credits": list(dict.fromkeys(credit for part in parts for credit in part["credits"])),
        "reference": None,
        "recordings": [row for part in parts for row in part["recordings"]],
        "ranking": [],
        "summary": [],
    }
    if len(parts) == 1:
        (whole,) = parts
    if track_path is None:
        whole["circuits"] = parts if len(parts) > 1 else []
        unplaced = gathered.untimed.unplaced
        whole["unplaced"] = [{"file": path, "text": text} for path, text in unplaced]
    return {**whole, "skipped": gathered.untimed.skipped, "caution": TRAINING}


def _circuit_row(circuit: _Circuit, entries: Mapping[str, Entry]) -> dict[str, Any]:
    from trackkit.timing.rows import add_losses, ranking_rows, session_row
    from trackkit.timing.summary import summaries, summary_row
    from trackkit.track.credit import credits_of

    rows = []
    for session, pairing in zip(circuit.sessions, circuit.pairings, strict=True):
        row = session_row(circuit.track, session, circuit.chosen, circuit.zone)
        if pairing is not None:
            row["official"] = pairing.as_row()
        if circuit.sections and circuit.chosen is not None:
            add_losses(row, session, circuit.sessions, circuit.sections, circuit.chosen)
        rows.append({**row, **entries.get(session.file, Entry()).as_row()})
    chosen = circuit.chosen
    return {
        "track": circuit.track.id,
        "geometry": short_digest(circuit.track),
        "timezone": None if circuit.zone is None else circuit.zone.key,
        "licence": circuit.track.licence,
        "credits": list(credits_of(circuit.track)),
        "reference": None
        if chosen is None
        else {
            "file": chosen.session.file,
            "label": chosen.session.label,
            "session": chosen.lap.session,
            "lap": chosen.lap.number,
        },
        "recordings": rows,
        "ranking": ranking_rows(circuit.sessions),
        "summary": [
            summary_row(summary, circuit.zone)
            for summary in summaries(circuit.sessions, _drivers(entries))
        ],
    }


def _write(
    gathered: _Gathered,
    entries: Mapping[str, Entry],
    tables: Mapping[str, str | None],
    *,
    force: bool,
) -> None:
    from trackkit.files import write_whole
    from trackkit.timing.channels import channel_titles
    from trackkit.timing.rows import laps_csv
    from trackkit.timing.summary import summaries, summary_csv
    from trackkit.timing.traces import traces_csv
    from trackkit.track.credit import credit_of

    circuits, drivers = gathered.circuits, _drivers(entries)
    sessions = [session for circuit in circuits for session in circuit.sessions]
    asked = [credit_of(circuit.track) for circuit in circuits]
    channels = channel_titles(lap for session in sessions for lap in session.report.laps)
    texts = {
        "--csv": lambda: _below_one_heading(
            (
                laps_csv(circuit.track, circuit.sessions, circuit.chosen, circuit.zone, channels)
                for circuit in circuits
            ),
            asked,
        ),
        "--summary": lambda: _below_one_heading(
            (
                summary_csv(circuit.track, summaries(circuit.sessions, drivers), circuit.zone)
                for circuit in circuits
            ),
            asked,
        ),
        "--traces": lambda: traces_csv(gathered.traces),
    }
    for option, path in tables.items():
        if path is not None:
            write_whole(path, texts[option](), force=force)
            remark(f"wrote {path}")


def _below_one_heading(tables: Iterable[str], asked: Sequence[str]) -> str:
    """Put tables below the heading of the first; a last column has credits where any is asked."""
    from trackkit.files import csv_with

    parts = [text.partition("\n") for text in tables]
    heading, rows = "".join(parts[0][:2]) if parts else "", [rows for _, _, rows in parts]
    if any(asked):
        heading = csv_with(heading, "credit")
        rows = [csv_with(text, credit) for text, credit in zip(rows, asked, strict=True)]
    return "".join([heading, *rows])
