"""How recordings of an archive were timed, so that they are timed again in the same way."""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace

from trackkit.archive.columns import DRIVES, KEY, TRACES
from trackkit.archive.store import dataset_of, opened, rows_of
from trackkit.archive.work import Job
from trackkit.timing.kept_timing import rules_of_row
from trackkit.timing.rules import USUAL_RULES, LapRules

_COLUMNS = ("antenna_ahead_m", "rules", "csv_columns", "traces")


@dataclass(frozen=True)
class Settings:
    """How a recording was timed.

    Parameters
    ----------
    kept
        Whether the archive knows it: it was added by a trackkit that kept it.
    columns
        Of a CSV recording.
    rules
        What parts sessions, and which laps count.
    antenna_ahead_m
        How far the antenna is ahead of the nose.
    traces
        Whether traces were kept.
    """

    kept: bool = False
    columns: Mapping[str, str] | None = None
    rules: LapRules = USUAL_RULES
    antenna_ahead_m: float = 0.0
    traces: bool = False

    def job(self, job: Job) -> Job:
        """Take the libraries of a job, and have all else done as it was."""
        return replace(
            job,
            columns=self.columns,
            rules=self.rules,
            antenna_ahead_m=self.antenna_ahead_m,
            traces=self.traces,
        )


def settings_of(archive: str, recordings: Collection[str]) -> dict[str, Settings]:
    """Tell of recordings how they were timed; as usual, where the archive does not know it."""
    if not recordings:
        return {}
    rows = rows_of(archive, DRIVES, (KEY, *_COLUMNS)).to_pylist()
    settings = {
        row[KEY]: Settings(
            kept=True,
            columns=None if row["csv_columns"] is None else json.loads(row["csv_columns"]),
            rules=rules_of_row(row),
            antenna_ahead_m=row["antenna_ahead_m"],
            traces=row["traces"],
        )
        for row in rows
        if row[KEY] in recordings
    }
    others = set(recordings) - settings.keys()
    traced = _traced(archive) if others else set()
    return settings | {each: Settings(traces=each in traced) for each in others}


def _traced(archive: str) -> set[str]:
    """List the recordings of which traces are kept."""
    delta = opened(archive, TRACES)
    if delta is None:
        return set()
    batches = dataset_of(delta).to_batches(columns=[KEY])
    return {recording for batch in batches for recording in batch[KEY].unique().to_pylist()}
