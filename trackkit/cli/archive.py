"""``trackkit archive``: the laps of many recordings kept, and asked about."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import click

from trackkit.caution import TRAINING
from trackkit.cli.archive_ask import laps_command, summary_command, unknown_command
from trackkit.cli.archive_forget import forget_command
from trackkit.cli.archive_options import (
    at_option,
    refuse_both,
    scheduler_option,
    tell_reasons,
    workers_option,
)
from trackkit.cli.archive_progress import rate_shown
from trackkit.cli.archive_refresh import refresh_command
from trackkit.cli.common import (
    Command,
    columns_option,
    json_option,
    parse_columns,
    print_json,
    remark,
    remarks,
)
from trackkit.cli.drives import skipped_option, tell_skipped
from trackkit.cli.library import library_option
from trackkit.cli.remedies import About, sentence
from trackkit.remedies import Remedy
from trackkit.words import counted

if TYPE_CHECKING:
    from trackkit.archive.add import ArchiveAddition


@click.group()
def archive() -> None:
    """Keep the laps of many recordings, on one machine or many, and ask about them.

    An archive is a folder, or an address of an object store, of Delta tables, which other programs
    read as well. It needs the extra archive: pip install 'trackkit[archive]'.
    """


archive.add_command(forget_command)
archive.add_command(laps_command)
archive.add_command(summary_command)
archive.add_command(refresh_command)
archive.add_command(unknown_command)


@archive.command("add", cls=Command)
@click.argument("paths", nargs=-1, required=True, metavar="RECORDING|FOLDER...")
@at_option
@library_option
@click.option("--driver", metavar="TEXT", help="Who drove, where drivers.csv does not say it.")
@click.option("--vehicle", metavar="TEXT", help="What was driven, likewise.")
@click.option("--class", "class_", metavar="TEXT", help="In which class, likewise.")
@click.option("--notes", metavar="TEXT", help="Anything else, likewise.")
@click.option("--weather", metavar="TEXT", help="How the weather was, likewise.")
@click.option(
    "--temperature", type=float, metavar="DEGC", help="Of the air, degrees Celsius, likewise."
)
@click.option(
    "--antenna-ahead",
    type=float,
    default=0.0,
    metavar="M",
    help="How far the antenna is ahead of the vehicle's nose; negative if it is behind.",
)
@click.option("--traces", is_flag=True, help="Keep laps along the track too, a row a metre.")
@workers_option
@scheduler_option
@skipped_option
@columns_option
@json_option
@click.pass_context
def add_command(
    ctx: click.Context,
    paths: tuple[str, ...],
    at: str | None,
    given: tuple[str, ...],
    driver: str | None,
    vehicle: str | None,
    class_: str | None,
    notes: str | None,
    weather: str | None,
    temperature: float | None,
    antenna_ahead: float,
    traces: bool,
    workers: int | None,
    scheduler: str | None,
    skipped: bool,
    columns: str | None,
    as_json: bool,
) -> None:
    """Time recordings and keep their laps.

    Circuit, layout and direction are located. What the archive has already, by content, is passed
    over; stopped at any moment, the same command goes on where it was. A table drivers.csv beside
    the recordings (columns file, driver, vehicle, class, notes, weather, temperature) names them.
    """
    from trackkit import add_to_archive

    refuse_both(workers, scheduler)
    begun = datetime.now(UTC)
    with rate_shown() as show:
        added = add_to_archive(
            paths,
            at,
            library=given,
            driver=driver,
            vehicle=vehicle,
            class_=class_,
            notes=notes,
            weather=weather,
            temperature_degc=temperature,
            traces=traces,
            columns=parse_columns(columns),
            antenna_ahead_m=antenna_ahead,
            workers=workers,
            scheduler=scheduler,
            progress=show,
        )
    remarks(added.warnings)
    if as_json:
        print_json(added.as_row())
    else:
        click.echo(_sentence(added))
    _tell_reasons(added)
    if added.timed:
        _offer_better_lines(at, given, begun)
    tell_skipped(added.other, named=skipped)
    if added.laps:
        remark(TRAINING)
    if added.unusable:
        ctx.exit(1)


def _sentence(added: ArchiveAddition) -> str:
    parts = [
        f"{counted(range(added.timed), 'recording')} timed, {counted(range(added.laps), 'lap')}"
    ]
    if added.known:
        parts.append(f"{added.known:,} known already")
    if added.described:
        parts.append(f"{added.described:,} of them described anew")
    if added.elsewhere:
        laps = counted(range(added.elsewhere), "lap")
        parts.append(f"{laps} counted in another recording of the same driving")
    if added.unplaced:
        parts.append(f"{len(added.unplaced):,} on no known circuit")
    if added.unusable:
        parts.append(f"{len(added.unusable):,} not usable")
    return f"{added.at}: {'; '.join(parts)}"


def _offer_better_lines(at: str | None, library: Sequence[str], since: datetime) -> None:
    """Say what to type where the archive has more laps of a circuit than made its line."""
    from trackkit.archive.better_lines import better_lines

    for better in better_lines(at, library, since):
        laps = counted(range(better.laps), "lap")
        recordings = counted(better.recordings, "recording")
        remedy = Remedy(
            "revise it with them",
            do="build revise",
            value={"recordings": list(better.recordings)},
        )
        made = f"it was made from {better.made_from:,}" if better.made_from else "it was drawn"
        remark(
            f"{better.title}: {laps} of {recordings} would better its line; {made}: "
            f"{sentence(remedy, About(better.track))}"
        )


def _tell_reasons(added: ArchiveAddition) -> None:
    tell_reasons((*added.unusable, *added.unplaced))
    if added.unplaced:
        remark("`trackkit archive unknown` lists those on no known circuit by place")
