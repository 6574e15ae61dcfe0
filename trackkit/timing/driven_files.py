"""Recordings of a day: the files in folders, and who drove in them."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from trackkit.errors import TrackkitError
from trackkit.track.recognise import is_track

DRIVERS = "drivers.csv"
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
    """A file to be timed, and whether it was found in a folder rather than named."""

    path: str
    in_folder: bool


def files_of(words: Sequence[str]) -> list[Listed]:
    """List files and what is in folders, recursively and by name.

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
            listed.append(Listed(word, in_folder=False))
            continue
        try:
            files = sorted(path for path in Path(word).rglob("*") if path.is_file())
        except OSError as error:
            raise TrackkitError(
                f"cannot be listed ({error.strerror or error})", file=word
            ) from error
        listed += [Listed(str(path), in_folder=True) for path in files if _is_meant(path, word)]
    return listed


def _is_meant(path: Path, folder: str) -> bool:
    hidden = any(part.startswith(".") for part in path.relative_to(folder).parts)
    other = path.name.endswith((".truth.json", "~")) or path.name.casefold() == DRIVERS
    return not hidden and not other and not is_track(str(path))


def entries_of(paths: Sequence[str]) -> dict[str, Entry]:
    """Read the tables of drivers beside some recordings.

    Returns
    -------
    dict
        The entry of each recording that has one, by its path.

    Raises
    ------
    TrackkitError
        When a table cannot be read, has no column ``file``, or a column of another name.
    """
    tables: dict[Path, dict[str, Entry]] = {}
    entries: dict[str, Entry] = {}
    for path in paths:
        folder = Path(path).parent
        if folder not in tables:
            tables[folder] = _table(folder / DRIVERS)
        entry = tables[folder].get(Path(path).name)
        if entry is not None:
            entries[path] = entry
    return entries


def _table(path: Path) -> dict[str, Entry]:
    if not path.is_file():
        return {}
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            reader = csv.DictReader(file, skipinitialspace=True)
            names = [(name or "").strip().casefold() for name in reader.fieldnames or ()]
            reader.fieldnames = names
            rows = list(reader)
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise TrackkitError(f"cannot be read as CSV ({error})", file=path) from error
    unknown = sorted(set(names) - set(_COLUMNS))
    if "file" not in names or unknown:
        what = f"has a column {unknown[0]!r}" if unknown else "has no column 'file'"
        raise TrackkitError(
            f"{what}, and is no table of drivers",
            file=path,
            remedy=f"its columns are {', '.join(_COLUMNS)}, all but the first optional",
        )

    def cell(row: dict[str, str | None], name: str) -> str:
        return (row.get(name) or "").strip()

    return {
        cell(row, "file"): Entry(
            cell(row, "driver"),
            cell(row, "vehicle"),
            cell(row, "class"),
            cell(row, "notes"),
            cell(row, "weather"),
            cell(row, "temperature"),
        )
        for row in rows
    }
