"""``trackkit archive forget``: recordings taken out of an archive for good."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from trackkit.cli.archive_options import at_option
from trackkit.cli.common import Command, json_option, print_json, remark, remarks
from trackkit.words import counted

if TYPE_CHECKING:
    from trackkit.archive.forget import ArchiveForgetting

_NAMED = 20
"""So many files are named; --json has all."""
_YOURS = (
    "the recordings themselves, copies and backups of the archive, and what was written from it "
    "(CSV, Parquet, pages) are yours to delete"
)


@click.command("forget", cls=Command)
@click.argument("recordings", nargs=-1, metavar="[RECORDING|SHA-256...]")
@at_option
@click.option("--driver", metavar="TEXT", help="All recordings with a session of this driver.")
@click.option("--yes", is_flag=True, help="Do not ask.")
@json_option
def forget_command(
    recordings: tuple[str, ...], at: str | None, driver: str | None, yes: bool, as_json: bool
) -> None:
    """Take recordings out of the archive for good.

    They are named by file, by the first characters of their SHA-256 (six at least), or by driver.
    Old versions of the tables, files that no table needs and entries of the logs go too. It asks
    first. Broken off at any moment, the same command finishes it. Recordings themselves, copies and
    backups are yours to delete.
    """
    from trackkit import forget_in_archive

    def agree(plan: ArchiveForgetting) -> None:
        remark(_plan(plan))
        _tell_what_stays(plan, driver)
        if not yes:
            click.confirm("Take them out for good?", abort=True, err=True)

    forgotten = forget_in_archive(recordings, at, driver=driver, agreed=agree)
    if as_json:
        print_json(forgotten.as_row())
    else:
        click.echo(_sentence(forgotten))
    remark(_YOURS)


def _plan(plan: ArchiveForgetting) -> str:
    drivers = f" of {', '.join(plan.drivers)}" if plan.drivers else ""
    counts = ", ".join(
        [
            f"{counted(plan.recordings, 'recording')}{drivers}",
            counted(range(plan.sessions), "session"),
            counted(range(plan.laps), "lap"),
        ]
    )
    lines = [f"{plan.at}: {counts}", *(f"  {file}" for file in plan.files[:_NAMED])]
    if len(plan.files) > _NAMED:
        lines.append(f"  and {len(plan.files) - _NAMED:,} more")
    return "\n".join(lines)


def _tell_what_stays(plan: ArchiveForgetting, driver: str | None) -> None:
    remarks(
        f"{file}: names {driver} too, and stays: name it as well, or correct what is said of it"
        for file in plan.mentions[:_NAMED]
    )
    if plan.untimed:
        remark(
            f"{counted(range(plan.untimed), 'recording')} could not be timed, and the archive does "
            "not know who drove in them: name their files where they are the driver's"
        )


def _sentence(forgotten: ArchiveForgetting) -> str:
    recordings = counted(forgotten.recordings, "recording")
    if forgotten.finished:
        return f"{forgotten.at}: {recordings} forgotten, which was broken off before"
    return f"{forgotten.at}: {recordings} forgotten, {counted(range(forgotten.laps), 'lap')}"
