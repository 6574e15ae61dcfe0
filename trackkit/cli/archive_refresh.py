"""``trackkit archive refresh``: laps timed again where gates or lines have changed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from trackkit.caution import TRAINING
from trackkit.cli.archive_options import (
    at_option,
    refuse_both,
    scheduler_option,
    tell_reasons,
    workers_option,
)
from trackkit.cli.archive_progress import rate_shown
from trackkit.cli.common import Command, json_option, print_json, remark, remarks
from trackkit.cli.library import library_option
from trackkit.words import counted

if TYPE_CHECKING:
    from trackkit.archive.refresh import ArchiveRefresh


@click.command("refresh", cls=Command)
@at_option
@library_option
@workers_option
@scheduler_option
@json_option
@click.pass_context
def refresh_command(
    ctx: click.Context,
    at: str | None,
    given: tuple[str, ...],
    workers: int | None,
    scheduler: str | None,
    as_json: bool,
) -> None:
    """Time laps again that a moved gate, or a revised layout or line, concerns.

    Where gates alone have moved, from the smoothed drives that the archive keeps; else from the
    recordings, if they lie where they lay. Stopped at any moment, the same command goes on where it
    was.
    """
    from trackkit import refresh_archive

    refuse_both(workers, scheduler)
    with rate_shown() as show:
        refreshed = refresh_archive(
            at, library=given, workers=workers, scheduler=scheduler, progress=show
        )
    remarks(refreshed.warnings)
    if as_json:
        print_json(refreshed.as_row())
    else:
        click.echo(_sentence(refreshed))
    tell_reasons(refreshed.left)
    if refreshed.laps:
        remark(TRAINING)
    if refreshed.left:
        ctx.exit(1)


def _sentence(refreshed: ArchiveRefresh) -> str:
    again = refreshed.from_drives + refreshed.from_recordings
    laps = counted(range(refreshed.laps), "lap")
    parts = [
        f"{counted(range(again), 'recording')} timed again, {laps}",
        f"{refreshed.current:,} as they were",
    ]
    if refreshed.from_recordings:
        parts.insert(1, f"{refreshed.from_recordings:,} of them from their files")
    if refreshed.left:
        parts.append(f"{len(refreshed.left):,} could not be")
    return f"{refreshed.at}: {'; '.join(parts)}"
