"""Recordings of a day: the files in folders, and who drove in them."""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from trackkit.cli.circuits import is_track
from trackkit.errors import TrackkitError

if TYPE_CHECKING:
    from trackkit.recordings.recording import Recording

label_option = click.option(
    "--label",
    "labels",
    multiple=True,
    metavar="TEXT",
    help="What to call a recording: a driver, a kart, a session. Once for each, in their order.",
)
DRIVERS = "drivers.csv"
_COLUMNS = ("file", "driver", "vehicle", "class", "notes")


@dataclass(frozen=True)
class Entry:
    """What the table of drivers says of a recording; empty where it says nothing."""

    driver: str = ""
    vehicle: str = ""
    class_: str = ""
    notes: str = ""

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
            cell(row, "driver"), cell(row, "vehicle"), cell(row, "class"), cell(row, "notes")
        )
        for row in rows
    }


def numbered(labels: Sequence[str]) -> list[str]:
    """Tell apart labels that are given more than once, by their order: Anna (1), Anna (2)."""
    count, seen = Counter(labels), Counter[str]()
    names = []
    for label in labels:
        seen[label] += 1
        names.append(f"{label} ({seen[label]})" if count[label] > 1 else label)
    return names


def labels_of(
    paths: Sequence[str], labels: Sequence[str], entries: Mapping[str, Entry]
) -> list[str]:
    """Say what each recording is called: as labelled, as the table of drivers has it, its file."""
    if labels and len(labels) != len(paths):
        raise click.UsageError(
            f"{len(paths)} recordings and {len(labels)} labels: give --label once for each "
            "recording, in their order, or not at all"
        )
    return numbered(labels or [entries.get(path, Entry()).label or path for path in paths])


def names_on_page(
    paths: Sequence[str], called: Sequence[str], recordings: Sequence[Recording]
) -> list[str]:
    """Name recordings for a page: what they are called, and the file that findings name.

    Parameters
    ----------
    paths
        Files that were asked for.
    called
        What each is called, from `labels_of`.
    recordings
        Those of them that could be read, in the same order.
    """
    names = []
    listed = iter(zip(paths, called, strict=True))
    for recording in recordings:
        label = next(label for path, label in listed if path == recording.name)
        names.append(label if label.startswith(recording.name) else f"{label} ({recording.name})")
    return names
