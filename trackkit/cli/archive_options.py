"""Options and sentences that the commands of an archive share."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, TypeVar

import click

from trackkit.cli.common import remark, remarks

if TYPE_CHECKING:
    from trackkit.archive.add import Reason

_NAMED = 20
"""So many files are named with what is wrong with them; the archive and --json have all."""
_Function = TypeVar("_Function", bound=Callable[..., Any])

at_option = click.option(
    "--at",
    metavar="FOLDER|ADDRESS",
    help="Where the archive lies: a folder, or an address such as s3://bucket/season.  "
    "[default: TRACKKIT_ARCHIVE, or yours]",
)
workers_option = click.option(
    "--workers",
    type=click.IntRange(1),
    metavar="N",
    help="How many processes work.  [default: one a core]",
)
scheduler_option = click.option(
    "--scheduler",
    metavar="tcp://HOST:PORT",
    help="Have the workers of this scheduler of dask.distributed do the work; they must see the "
    "files under the same paths.",
)
_CHOOSING = (
    click.option("--circuit", metavar="TEXT", help="Only of this circuit: id or name."),
    click.option("--layout", metavar="TEXT", help="Only of this layout."),
    click.option("--driver", metavar="TEXT", help="Only of this driver."),
    click.option("--vehicle", metavar="TEXT", help="Only with this vehicle."),
    click.option("--class", "class_", metavar="TEXT", help="Only of this class."),
    click.option("--since", metavar="DAY", help="Only from this day on, such as 2026-05-31."),
    click.option("--until", metavar="DAY", help="Only up to this day."),
    click.option(
        "--warmer-than",
        "warmer_than_degc",
        type=float,
        metavar="DEGC",
        help="Only where the air was no colder, degrees Celsius.",
    ),
    click.option(
        "--colder-than",
        "colder_than_degc",
        type=float,
        metavar="DEGC",
        help="Only where the air was no warmer.",
    ),
)


def choosing_options(function: _Function) -> _Function:
    """Add the options that say which laps are wanted."""
    for option in reversed(_CHOOSING):
        function = option(function)
    return function


def tell_reasons(reasons: Sequence[Reason]) -> None:
    """Say of the first of some recordings what is wrong with them, and how many more there are."""
    remarks(f"{reason.file}: {reason.text}" for reason in reasons[:_NAMED])
    if len(reasons) > _NAMED:
        remark(f"and {len(reasons) - _NAMED:,} more, which --json names")


def refuse_both(workers: int | None, scheduler: str | None) -> None:
    """Refuse to be told of two kinds of workers."""
    if workers is not None and scheduler is not None:
        raise click.UsageError("--scheduler has workers of its own: leave --workers out")
