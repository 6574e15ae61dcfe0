"""What every command shares: negative numbers as typed, tables, JSON, remarks and progress."""

from __future__ import annotations

import json
import os
import re
import sys
import traceback
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any, TypeVar

import click

from trackkit.cli import standard_output
from trackkit.cli.remedies import error_sentence
from trackkit.errors import OutputError, PlaceError, TrackkitError, UnforeseenError
from trackkit.progress import watched
from trackkit.units import UNITS, UnitsName, as_read, shown_in, units
from trackkit.words import printable, single_sentence

if TYPE_CHECKING:
    from trackkit.held_files import HeldFile
    from trackkit.recordings.recording import Recording
    from trackkit.track.places import Place

Item = TypeVar("Item")
traceback_wanted: ContextVar[bool] = ContextVar("traceback_wanted", default=False)
"""Whether errors are told with Python's traceback."""

_NEGATIVE_NUMBER = re.compile(r"-(?=[\d.])")


class Command(click.Command):
    """A command that takes negative numbers as arguments, with no ``--`` before them.

    A word that begins with a minus and a digit is no option of ours, but a place, a number or the
    name of a file.  It goes past click's parser with a minus sign (U+2212) instead.

    What the library cannot do is said with what to type for the track file that was given.
    """

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command."""
        try:
            if ctx.info_name in _TAKE_IDS:
                _ids_to_files(ctx)
            return super().invoke(ctx)
        except TrackkitError as error:
            raise Failed(error_sentence(error, ctx.params.get("track_path"))) from error

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Hand negative numbers past click's option parser."""
        valued = {
            name
            for param in self.params
            if isinstance(param, click.Option) and not param.is_flag
            for name in param.opts
        }
        # The word after such an option is its value, whatever it begins with.
        before = [None, *args]
        changed: dict[str, str] = {}
        words = []
        for last, word in zip(before, args, strict=False):
            if last not in valued and _NEGATIVE_NUMBER.match(word):
                words.append("\N{MINUS SIGN}" + word[1:])
                changed[words[-1]] = word
            else:
                words.append(word)
        rest = super().parse_args(ctx, words)
        for param in self.params:
            value = ctx.params.get(param.name or "")
            if isinstance(value, str):
                ctx.params[str(param.name)] = changed.get(value, value)
            elif isinstance(value, tuple):
                ctx.params[str(param.name)] = tuple(changed.get(word, word) for word in value)
        return rest


_TAKE_IDS = ("describe", "check", "map", "export", "simulate", "list", "reverse", "diff")
"""Commands that read a track and change none: an id of the library will do for them."""


def _ids_to_files(ctx: click.Context) -> None:
    """Put track files in the place of ids of the library; what exists is a file or a folder."""
    if ctx.params.get("accept") is not None:
        return
    for name in ("track_path", "track_paths", "first", "second"):
        value = ctx.params.get(name)
        words = [value] if isinstance(value, str) else list(value or ())
        if any(not Path(word).exists() for word in words):
            from trackkit.cli.ids import known_path

            files = [known_path(word) or word for word in words]
            ctx.params[name] = files[0] if isinstance(value, str) else tuple(files)


class Failed(click.ClickException):
    """An error of the library, worded for the terminal."""

    def show(self, file: IO[Any] | None = None) -> None:
        """Say it on standard error."""
        click.echo(f"trackkit: {self.message}", err=True, file=file)


def plain_minus(text: str) -> str:
    """Turn a minus sign, as texts have it, into the hyphen that numbers are read with."""
    return text.replace("\N{MINUS SIGN}", "-", 1) if text.startswith("\N{MINUS SIGN}") else text


_LONGEST_VEHICLE_M = 20.0


def metres_along_vehicle(
    ctx: click.Context,  # noqa: ARG001
    param: click.Parameter,  # noqa: ARG001
    value: str | None,
) -> float | None:
    """Read how far one place in a vehicle is ahead of another, in metres."""
    if value is None:
        return None
    try:
        metres = float(plain_minus(value))
    except ValueError:
        metres = float("nan")
    if not abs(metres) <= _LONGEST_VEHICLE_M:
        raise click.BadParameter(
            f"{plain_minus(value)!r} is no distance along a vehicle in metres, such as 0.6 or -0.6"
        )
    return metres


json_option = click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")


def _choose_units(ctx: click.Context, param: click.Parameter, value: UnitsName) -> None:  # noqa: ARG001
    ctx.with_resource(shown_in(value))


units_option = click.option(
    "--units",
    type=click.Choice(list(UNITS)),
    default="metric",
    show_default=True,
    envvar="TRACKKIT_UNITS",
    show_envvar=True,
    expose_value=False,
    callback=_choose_units,
    help="Speeds and lengths to read: km/h and metres, or mph and feet; files and JSON stay in SI.",
)
force_option = click.option("--force", is_flag=True, help="Replace a file that exists.")
columns_option = click.option(
    "--columns",
    metavar="NAME=COLUMN,...",
    help="Which columns of a CSV recording hold what: time, latitude, longitude, speed, course, "
    "elevation, accuracy.",
)
gates_option = click.option(
    "--gates",
    metavar="SET",
    help="Sector gates of a gate set, which the page of `map` saves, in place of the track's own; "
    "the track file stays as it is.",
)
crs_option = click.option(
    "--crs",
    metavar="EPSG:CODE",
    help="Positions given are easting and northing in this grid.",
)


def check_crs(crs: str) -> None:
    """Refuse a coordinate system that PROJ does not know.

    Raises
    ------
    click.BadParameter
        When it is none.
    """
    from trackkit.geometry.grids import horizontal_crs

    try:
        horizontal_crs(crs)
    except PlaceError as error:
        raise click.BadParameter(str(error), param_hint="--crs") from error


def parse_columns(text: str | None) -> dict[str, str] | None:
    """Read ``time=Zeit,latitude=Breite`` into a mapping.

    Raises
    ------
    click.BadParameter
        When a part has no equals sign.
    """
    if text is None:
        return None
    columns = {}
    for part in text.split(","):
        key, equals, column = part.partition("=")
        if not equals or not key.strip() or not column.strip():
            raise click.BadParameter(f"{part!r} is not NAME=COLUMN", param_hint="--columns")
        columns[key.strip()] = column.strip()
    return columns


def place_from(text: str, crs: str | None) -> Place:
    """Read a place from the command line.

    Raises
    ------
    click.BadParameter
        When it is none; that is the command line's fault, not a file's.
    """
    from trackkit.track.places import parse_place

    try:
        return parse_place(text, crs=crs)
    except PlaceError as error:
        raise click.BadParameter(error_sentence(error), param_hint="PLACE") from error


def held_for_change(path: str) -> HeldFile:
    """Hold a file that the running command changes in place, until the command ends."""
    from trackkit.held_files import hold

    return click.get_current_context().with_resource(hold(path))


def refuse_outputs(outputs: Mapping[str, str | None], *, force: bool) -> None:
    """Refuse what cannot be written before the work is done, not after it.

    Parameters
    ----------
    outputs
        The files by the options that name them; None where an option was not given.
    force
        Whether files that exist may be replaced.

    Raises
    ------
    OutputError
        When a file exists and `force` is false.
    click.UsageError
        When two options name the same file.
    """
    from trackkit.files import is_stream

    options: dict[str, str] = {}
    for option, path in outputs.items():
        if path is None:
            continue
        if Path(path).exists() and not is_stream(path) and not force:
            remedy = "choose another name, or replace it with --force"
            raise OutputError("exists already", file=path, remedy=remedy)
        other = options.setdefault(os.path.realpath(path), option)
        if other != option:
            raise click.UsageError(f"{other} and {option} name the same file")


def print_json(document: Any) -> None:
    """Print one JSON document on standard output."""
    escaped = not standard_output.is_unicode()
    click.echo(json.dumps(document, indent=2, ensure_ascii=escaped, allow_nan=False))


def remark(text: str) -> None:
    """Say something on standard error."""
    click.echo("\n".join(printable(line) for line in text.split("\n")), err=True)


def remarks(texts: Iterable[str], about: str | None = None, names: Iterable[str] = ()) -> None:
    """Say several things on standard error; names that they hold stay as they are in any units."""
    kept = tuple(names)
    for text in texts:
        remark(single_sentence(about or "", as_read(text, kept)))


def table(headings: Sequence[str], rows: Iterable[Sequence[str]], *, title: str = "") -> None:
    """Print a table that lines up; columns whose cells all look like numbers are set right."""
    from rich import box
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    cells = [[printable(str(cell)) for cell in row] for row in rows]
    out = Table(box=box.SIMPLE_HEAD, pad_edge=False, title=title or None, title_justify="left")
    for index, heading in enumerate(headings):
        numeric = cells and all(re.fullmatch(r"[-+\d.,:±* ]*", row[index]) for row in cells)
        out.add_column(Text(heading), justify="right" if numeric else "left", no_wrap=True)
    if cells:
        # Text, not str: names from files are not markup.  All rows as one are drawn four times as
        # fast as each by itself.
        out.add_row(*(Text("\n".join(column)) for column in zip(*cells, strict=True)))
    width = None if sys.stdout.isatty() else 400
    Console(width=width, highlight=False, soft_wrap=True).print(out)


def progress(items: Sequence[Item], label: str) -> Iterator[Item]:
    """Go through items, with a progress bar on a terminal when there are several."""
    if len(items) < 2 or not sys.stderr.isatty():
        yield from items
        return
    from rich.console import Console
    from rich.progress import track

    with watched(None):
        yield from track(items, label, console=Console(stderr=True), transient=True)


@contextmanager
def long_work_shown() -> Iterator[None]:
    """Show on a terminal how far each long piece of work inside has come."""
    if not sys.stderr.isatty():
        yield
        return
    from rich.console import Console
    from rich.progress import Progress

    live: dict[str, Progress] = {}

    def show(what: str, done: int, of: int) -> None:
        if what not in live:
            stop()
            live[what] = Progress(console=Console(stderr=True), transient=True)
            live[what].start()
            live[what].add_task(what, total=of)
        live[what].update(live[what].task_ids[0], completed=done)
        if done >= of:
            stop()

    def stop() -> None:
        for bar in live.values():
            bar.stop()
        live.clear()

    try:
        with watched(show):
            yield
    finally:
        stop()


def read_recordings(
    paths: Sequence[str], columns: str | None = None
) -> tuple[list[Recording], list[TrackkitError]]:
    """Read recordings; what is wrong with one is said at once and the others are still read."""
    from trackkit import read_recording

    mapping = parse_columns(columns)
    return each_file(
        paths, lambda path: _remarked(read_recording(path, columns=mapping)), "reading recordings"
    )


def _remarked(recording: Recording) -> Recording:
    remarks(recording.remarks, recording.name)
    return recording


def each_file(
    paths: Sequence[str], work: Callable[[str], Item], label: str
) -> tuple[list[Item], list[TrackkitError]]:
    """Do something with each file; an error with one is said at once and the rest still done."""
    done: list[Item] = []
    failed: list[TrackkitError] = []
    for path in progress(paths, label):
        try:
            done.append(work(path))
        except TrackkitError as error:
            failed.append(error)
            say_error(error)
        except Exception as error:
            if isinstance(error, OSError) and standard_output.failed_with(error):
                raise
            # What nobody foresaw in one file is said of it.
            failed.append(UnforeseenError(error, path))
            say_error(failed[-1])
    return done, failed


def say_error(error: TrackkitError) -> None:
    """Say an error's sentence, below the whole traceback where that was wanted."""
    if traceback_wanted.get():
        remark("".join(traceback.format_exception(error)).rstrip())
    remark(f"trackkit: {error_sentence(error)}")


def gate_rows(gates: Iterable[Any]) -> list[dict[str, Any]]:
    """List gates as ``gate list --json`` does."""
    return [gate.as_row() for gate in gates]


def gate_table(gates: Iterable[Any]) -> None:
    """Print gates as a table."""
    shown = units()
    unit = shown.length
    table(
        ["order", "id", "kind", "name", f"chainage {unit}", f"width {unit}", "surveyed"],
        [
            [
                str(gate.order),
                gate.id,
                gate.kind,
                gate.name,
                shown.length_figure(gate.chainage_m, 1),
                shown.length_figure(gate.width_m, 1),
                "yes" if gate.surveyed else "no",
            ]
            for gate in gates
        ],
    )


def duration(seconds: float | None, decimals: int = 3) -> str:
    """Write a time as 47.132 or 1:47.132; unknown is a dash."""
    if seconds is None:
        return "-"
    sign, seconds = ("-", -seconds) if seconds < 0 else ("", seconds)
    ticks = round(seconds * 10**decimals)
    minutes, rest = divmod(ticks, 60 * 10**decimals)
    tail = f"{rest / 10**decimals:.{decimals}f}"
    if minutes == 0:
        return f"{sign}{tail}"
    return f"{sign}{minutes}:{tail.zfill(3 + decimals if decimals else 2)}"
