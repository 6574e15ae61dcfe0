"""One recording of an archive timed again: from its kept drive, or from its file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from trackkit.archive.columns import KEY
from trackkit.archive.drives import KeptRows, read_kept
from trackkit.archive.stale import Stale, track_of
from trackkit.archive.timed_rows import timed_rows
from trackkit.archive.work import (
    Item,
    Job,
    Outcome,
    circuit_driven,
    own_version,
    time_file,
    timed_facts,
)
from trackkit.errors import TrackkitError
from trackkit.files import sha256_of
from trackkit.library.driven_circuit import Found
from trackkit.motion.kept_drive import drive_of_row
from trackkit.timing.kept_timing import report_of_row

STAY = "its laps stay as they were"

Answer = tuple[str, Outcome | str | None]
"""A recording; and what came of it, why it could not be timed, or None where its file is needed."""


def time_kept(item: tuple[KeptRows, Mapping[str, Stale]], job: Job) -> list[Answer]:
    """Time kept drives again, as far as they serve."""
    rows_kept, concerned = item
    answers: list[Answer] = []
    for recording, kept in read_kept(rows_kept):
        try:
            answer = _of_kept(concerned[recording], kept, job)
        except TrackkitError:
            # Its file may still do; else what is wrong with that is told.
            answer = None
        answers.append((recording, answer))
    return answers


def _of_kept(stale: Stale, kept: Mapping[str, Any], job: Job) -> Outcome | str | None:
    row = stale.row
    # Heights, which traces have, are not kept.
    if kept["traces"]:
        return None
    if stale.path is None:
        drive = drive_of_row(kept, row["file"], row["begun"])
        found, reason = circuit_driven(drive.recording, job)
        if found is None:
            return f"{reason}; {STAY}"
    else:
        track = track_of(stale.path, stale.reversed, job.library)
        found = Found(track, stale.path, stale.reversed)
    report = report_of_row(kept, found.track, row["file"], row["begun"])
    if report is None:
        return None
    about = timed_facts(found, row["longitude_deg"], row["latitude_deg"], job)
    same = {name: about[name] for name in ("track", "geometry")} | {KEY: stale.recording}
    tables = timed_rows(found, report, same, stale.described, traces=False)
    facts = {**about, "version": own_version(), "library": job.library}
    return Outcome(_item(stale), {**row, KEY: stale.recording, **facts}, tables)


def _item(stale: Stale) -> Item:
    row = stale.row
    return Item(
        stale.recording,
        row["file"],
        row["size_bytes"],
        row["modified"].timestamp(),
        described=stale.described,
    )


def time_file_again(stale: Stale, job: Job) -> Answer:
    """Time a recording again as it would be added, if it is still the same."""
    path = stale.row["file"]
    try:
        same = sha256_of(path) == stale.recording
    except OSError:
        return stale.recording, f"cannot be read where it lay when it was added; {STAY}"
    if not same:
        return stale.recording, f"is not the file any more that it was when it was added; {STAY}"
    outcome = time_file(_item(stale), job if stale.settings is None else stale.settings.job(job))
    if outcome.state == "timed":
        # Driving that several recordings hold goes on to count in the one that came first.
        return stale.recording, replace(outcome, row=outcome.row | {"added": stale.row["added"]})
    return stale.recording, f"{outcome.row['reason']}; {STAY}"
