"""``trackkit laps``: lap and sector times of recordings."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import click

from trackkit.caution import TRAINING
from trackkit.cli.common import (
    Command,
    columns_option,
    each_file,
    force_option,
    json_option,
    parse_columns,
    print_json,
    refuse_outputs,
    remark,
    remarks,
)
from trackkit.cli.remedies import error_sentence
from trackkit.errors import TrackkitError
from trackkit.track.digest import short_digest

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from trackkit.official.pairing import Pairing
    from trackkit.recordings.recording import Recording
    from trackkit.timing.sessions import Reference, Session
    from trackkit.track.model import Track


def _reference(ctx: click.Context, param: click.Parameter, value: str | None) -> str | None:  # noqa: ARG001
    if value is not None and not value.rpartition(":")[2].isdecimal():
        raise click.BadParameter(f"{value!r} does not end with a lap number")
    return value


@click.command(cls=Command)
@click.argument("track_path", metavar="TRACK")
@click.argument("recordings", nargs=-1, required=True, metavar="RECORDING...")
@click.option(
    "--label",
    "labels",
    multiple=True,
    metavar="TEXT",
    help="What to call a recording: a driver, a kart, a session. Once for each, in their order.",
)
@click.option(
    "--reference",
    callback=_reference,
    metavar="[RECORDING:]N",
    help="Lap that the others are compared with; the recording by its file or label.  "
    "[default: the best of all]",
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
    "--traces",
    metavar="FILE.csv",
    help="Write elapsed time, speed and acceleration against chainage as CSV.",
)
@columns_option
@force_option
@json_option
@click.pass_context
def laps(
    ctx: click.Context,
    track_path: str,
    recordings: tuple[str, ...],
    labels: tuple[str, ...],
    reference: str | None,
    details: bool,
    official: str | None,
    official_columns: str | None,
    csv_path: str | None,
    traces: str | None,
    columns: str | None,
    force: bool,
    as_json: bool,
) -> None:
    """Time the laps and sectors of recordings over a track.

    Times are followed by their uncertainty, one sigma, and have as many decimals as that supports.
    Time nothing where the organiser or the insurer forbids it.
    """
    from trackkit import pair_official, read_official, read_recording, read_track, time_laps
    from trackkit.timing.sessions import Session, choose_reference
    from trackkit.timing.traces import trace_lines

    if labels and len(labels) != len(recordings):
        raise click.UsageError(
            f"{len(recordings)} recordings and {len(labels)} labels: give --label once for each "
            "recording, in their order, or not at all"
        )
    refuse_outputs({"--csv": csv_path, "--traces": traces}, force=force)
    track = read_track(track_path)
    zone = _zone(track)
    mapping = parse_columns(columns)
    times = None
    if official is not None:
        times = read_official(official, parse_columns(official_columns))
        remarks(times.remarks, official)
    called = iter(labels or recordings)
    trace_texts: list[str] = []

    def work(path: str) -> Session:
        label = next(called)
        recording = read_recording(path, columns=mapping)
        remarks([*recording.remarks, *_other_day(track, recording)], path)
        session = Session(path, label, time_laps(track, recording))
        if traces is not None:
            trace_texts.append(trace_lines(track, session))
        # Of many recordings, one drive is in memory at a time.
        return replace(session, report=session.report.without_drive())

    sessions, failed = each_file(recordings, work, "timing laps")
    chosen = choose_reference(sessions, reference)
    pairings = [
        None if times is None else pair_official(times, session.report) for session in sessions
    ]
    # Written first: whoever reads the tables may stop reading before their end.
    _write(track, sessions, chosen, zone, csv_path, traces, trace_texts, force=force)
    if as_json:
        print_json(_document(track, sessions, chosen, zone, pairings))
    else:
        from trackkit.cli.laptext import print_sessions

        print_sessions(track, sessions, chosen, zone, pairings, details=details)
        if sessions:
            click.echo(f"geometry {short_digest(track)}: the same letters, the same line and gates")
    remark(TRAINING)
    if failed:
        ctx.exit(1)


def _other_day(track: Track, recording: Recording) -> list[str]:
    """Say where the track file says that the layout was another one on the recording's day."""
    from trackkit.track.validity import is_valid, local_day

    if recording.start is None:
        return []
    longitude = float(track.centreline.longitude_deg[0])
    day = local_day(recording.start, track.timezone, longitude)
    if is_valid(track, day):
        return []
    period = [f"from {track.valid_from}"] if track.valid_from else []
    period += [f"until {track.valid_until}"] if track.valid_until else []
    text = (
        f"{track.title} is valid {' '.join(period)}, and this was recorded on {day}: another "
        "layout may have been driven"
    )
    return [text]


def _zone(track: Track) -> ZoneInfo | None:
    from trackkit.timing.sessions import time_zone

    try:
        return time_zone(track)
    except TrackkitError as error:
        remark(error_sentence(error))
        return None


def _document(
    track: Track,
    sessions: list[Session],
    chosen: Reference | None,
    zone: ZoneInfo | None,
    pairings: list[Pairing | None],
) -> dict[str, Any]:
    from trackkit.timing.rows import ranking_rows, session_row

    rows = []
    for session, pairing in zip(sessions, pairings, strict=True):
        row = session_row(track, session, chosen, zone)
        if pairing is not None:
            row["official"] = pairing.as_row()
        rows.append(row)
    return {
        "track": track.id,
        "geometry": short_digest(track),
        "timezone": None if zone is None else zone.key,
        "reference": None
        if chosen is None
        else {
            "file": chosen.session.file,
            "label": chosen.session.label,
            "lap": chosen.lap.number,
        },
        "recordings": rows,
        "ranking": ranking_rows(sessions),
        "caution": TRAINING,
    }


def _write(
    track: Track,
    sessions: list[Session],
    chosen: Reference | None,
    zone: ZoneInfo | None,
    csv_path: str | None,
    traces: str | None,
    trace_texts: list[str],
    *,
    force: bool,
) -> None:
    from trackkit.files import write_whole

    if csv_path is not None:
        from trackkit.timing.rows import laps_csv

        write_whole(csv_path, laps_csv(track, sessions, chosen, zone), force=force)
        remark(f"wrote {csv_path}")
    if traces is not None:
        from trackkit.timing.traces import traces_csv

        write_whole(traces, traces_csv(trace_texts), force=force)
        remark(f"wrote {traces}")
