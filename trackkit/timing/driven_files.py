"""Recordings of a day: the files in folders, and who drove in them."""

from __future__ import annotations

import csv
import io
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from trackkit.errors import TrackkitError
from trackkit.track.recognise import is_track
from trackkit.words import counted

DRIVERS = "drivers.csv"
_BETWEEN = ",;\t|"
"""What parts columns, the comma where none is there."""
_COLUMNS = ("file", "driver", "vehicle", "class", "notes", "weather", "temperature")


@dataclass(frozen=True)
class Entry:
    """What the table of drivers says of a recording; empty where it says nothing."""

    driver: str = ""
    vehicle: str = ""
    class_: str = ""
    notes: str = ""
    weather: str = ""
    temperature: str = ""

    @property
    def label(self) -> str:
        """Driver and vehicle, as they name a recording."""
        return ", ".join(part for part in (self.driver, self.vehicle) if part)

    def as_row(self) -> dict[str, str | None]:
        """Return it as JSON, null where it says nothing."""
        return {
            "driver": self.driver or None,
            "vehicle": self.vehicle or None,
            "class": self.class_ or None,
            "notes": self.notes or None,
        }


@dataclass(frozen=True)
class Listed:
    """A file to be timed, and the folder that was named in its place where it was found in one."""

    path: str
    folder: str | None = None

    @property
    def in_folder(self) -> bool:
        """Whether it was found in a folder rather than named."""
        return self.folder is not None


def files_of(words: Sequence[str]) -> list[Listed]:
    """List files and what is in folders, recursively and by name; what is named itself only once.

    Track files, truths of practice recordings, tables of drivers, hidden files and backups are
    passed over.

    Raises
    ------
    TrackkitError
        When a folder cannot be listed.
    """
    listed: list[Listed] = []
    for word in words:
        if not Path(word).is_dir():
            listed.append(Listed(word))
            continue
        try:
            files = sorted(path for path in Path(word).rglob("*") if path.is_file())
        except OSError as error:
            raise TrackkitError(
                f"cannot be listed ({error.strerror or error})", file=word
            ) from error
        listed += [Listed(str(path), word) for path in files if _is_meant(path, word)]
    named = {Path(file.path).resolve() for file in listed if not file.in_folder}
    return [file for file in listed if not (file.in_folder and Path(file.path).resolve() in named)]


def _is_meant(path: Path, folder: str) -> bool:
    hidden = any(part.startswith(".") for part in path.relative_to(folder).parts)
    other = path.name.endswith((".truth.json", "~")) or path.name.casefold() == DRIVERS
    return not hidden and not other and not is_track(str(path))


def entries_of(
    files: Sequence[Listed], say: Callable[[str], object] | None = None
) -> dict[str, Entry]:
    """Read the tables of drivers beside some recordings, and in folders above them.

    Parameters
    ----------
    files
        The recordings.  Tables above one are read up to the folder that was named, and give it by
        its path from there, as in ``morning/kart 7.nmea``; the nearest that names it counts.
    say
        Called with a sentence where a table names files that are not there.

    Returns
    -------
    dict
        The entry of each recording that has one, by its path.

    Raises
    ------
    TrackkitError
        When a table cannot be read, has no column ``file``, a column of another name, or names a
        file twice.
    """
    tables: dict[Path, dict[str, Entry]] = {}
    entries: dict[str, Entry] = {}
    for file in files:
        path = Path(file.path)
        above = path.parents[:1] if file.folder is None else path.parents
        for folder in above:
            if folder not in tables:
                tables[folder] = _table(folder / DRIVERS, say)
            entry = tables[folder].get(path.relative_to(folder).as_posix())
            if entry is not None:
                entries[file.path] = entry
                break
            if file.folder is not None and folder == Path(file.folder):
                break
    return entries


def _table(path: Path, say: Callable[[str], object] | None) -> dict[str, Entry]:
    if not path.is_file():
        return {}
    names, rows = _rows(path)
    columns = f"its columns are {', '.join(_COLUMNS)}, all but the first optional"
    unknown = sorted(set(names) - set(_COLUMNS))
    if "file" not in names or unknown:
        what = f"has a column {unknown[0]!r}" if unknown else "has no column 'file'"
        raise TrackkitError(f"{what}, and is no table of drivers", file=path, remedy=columns)
    twice = [name for name, count in Counter(names).items() if count > 1]
    if twice:
        raise TrackkitError(f"has two columns {twice[0]!r}", file=path, remedy=columns)
    entries: dict[str, Entry] = {}
    for line, cells in rows:
        if len(cells) > len(names):
            raise TrackkitError(
                f"has {len(cells)} cells under {counted(names, 'column')}",
                file=path,
                place=f"line {line}",
                remedy='put text that holds what parts columns in quotation marks, "like, this"',
            )
        cell = {name: text.strip() for name, text in zip(names, cells, strict=False)}
        file = cell.get("file", "").replace("\\", "/")
        if file in entries:
            raise TrackkitError(
                f"names {file} once more", file=path, place=f"line {line}", remedy="keep one line"
            )
        entries[file] = Entry(*(cell.get(name, "") for name in _COLUMNS[1:]))
    entries.pop("", None)
    absent = [file for file in entries if not (path.parent / file).is_file()]
    if absent and say is not None:
        say(f"{path}: names {', '.join(absent)}, and there is no such file beside it")
    return entries


def _rows(path: Path) -> tuple[list[str], list[tuple[int, list[str]]]]:
    """Read the headings of a table and its lines that hold anything, with their numbers.

    Raises
    ------
    TrackkitError
        When it cannot be read.
    """
    from trackkit.recordings.formats import decode

    try:
        text = decode(path.read_bytes())
        heading = text.partition("\n")[0]
        between = max(_BETWEEN, key=heading.count)
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=between, skipinitialspace=True)
        rows = [(reader.line_num, row) for row in reader if any(cell.strip() for cell in row)]
    except (OSError, csv.Error) as error:
        raise TrackkitError(f"cannot be read as CSV ({error})", file=path) from error
    names = [name.strip().casefold() for name in rows[0][1]] if rows else []
    # Spreadsheets end lines with empty cells.
    while names and not names[-1]:
        names.pop()
    return names, [(line, _without_empty_end(cells, len(names))) for line, cells in rows[1:]]


def _without_empty_end(cells: list[str], count: int) -> list[str]:
    beyond = [cell for cell in cells[count:] if cell.strip()]
    return cells if beyond else cells[:count]
