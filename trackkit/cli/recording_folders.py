"""What the recordings of a day are called."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import click

from trackkit.timing.driven_files import Entry
from trackkit.words import counted

if TYPE_CHECKING:
    from trackkit.recordings.recording import Recording
    from trackkit.timing.duplicates import Shared

label_option = click.option(
    "--label",
    "labels",
    multiple=True,
    metavar="TEXT",
    help="What to call a recording: a driver, a kart, a session. Once for each, in their order.",
)


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
    """Say what each recording is called: as labelled, as the table of drivers has it, its file.

    Several may be called the same; see `numbered`.
    """
    if labels and len(labels) != len(paths):
        raise click.UsageError(
            f"{counted(paths, 'recording')} and {counted(labels, 'label')}: give --label once for "
            "each recording, in their order, or not at all"
        )
    return list(labels or [entries.get(path, Entry()).label or path for path in paths])


def drivers_of(
    paths: Sequence[str], labels: Sequence[str], entries: Mapping[str, Entry]
) -> list[str]:
    """Say who drove in each recording: as the table of drivers has it, as labelled, or nobody."""
    labelled = labels or [""] * len(paths)
    return [
        entries.get(path, Entry()).driver or label
        for path, label in zip(paths, labelled, strict=True)
    ]


def two_drove(part: Shared, drivers: Mapping[str, str]) -> bool:
    """Tell whether what looks like two receivers of one drive is named as two drivers."""
    names = {drivers[part.first], drivers[part.second]} - {""}
    return part.kind == "receivers" and len(names) > 1


def close_together(part: Shared, drivers: Mapping[str, str]) -> str:
    """Say that two drivers, who are named, were as near as two receivers of one drive."""
    from trackkit.timing.driving_sessions import span_text

    return (
        f"{part.second} and {part.first} were {part.apart_m:.1f} m apart over "
        f"{span_text(part.end_s - part.begin_s)}: as {drivers[part.second]} and "
        f"{drivers[part.first]} are named, both count (two receivers of one drive have one name)"
    )


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
        names.append(label if label == recording.name else f"{label} ({recording.name})")
    # The file tells apart what is called the same, and only the same file needs a number.
    return numbered(names)
