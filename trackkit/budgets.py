"""How much trackkit takes on: one table of limits, checked where files come in.

A small file can ask for any amount of work: gzip packs a thousandfold, and the cost of a track
grows with its gates and its length.  Each limit is far beyond what circuits and their recordings
need, and whoever needs more raises it knowingly.
"""

from __future__ import annotations

import math
import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field, fields, replace

from trackkit.errors import TrackkitError
from trackkit.remedies import Remedy


def _limit(most: int, unit: str, why: str) -> int:
    limit: int = field(default=most, metadata={"unit": unit, "why": why})
    return limit


@dataclass(frozen=True)
class Budgets:
    """The limits, whole numbers of the unit that each field's metadata names."""

    unpacked_bytes: int = _limit(
        1 << 30, "bytes", "a file, or what its gzip unpacks to; a day at 25 Hz is 0.4 GB of GPX"
    )
    packed_ratio: int = _limit(
        100, "times", "gzip of recordings packs 3 to 20 times; told from 32 MiB unpacked on"
    )
    fixes: int = _limit(4_000_000, "fixes", "of one recording; a day at 25 Hz has 2.16 million")
    channel_values: int = _limit(
        100_000_000,
        "values",
        "of a recording's channels; what is more is left out, and the fixes are read all the same",
    )
    official_laps: int = _limit(
        10_000, "lap times", "of a list of official times; a day of laps of 20 s has 4,320"
    )
    columns: int = _limit(1_000, "columns", "of a table; loggers write up to some hundreds")
    line_length: int = _limit(
        1 << 16, "characters", "of a line of a table; loggers write some hundreds"
    )
    features: int = _limit(2_000, "features", "of a track file, its gates and corners among them")
    gates: int = _limit(100, "gates", "of a track; 50 sectors are the most that can be asked for")
    vertices: int = _limit(
        200_000, "positions", "of a drawn line or a centreline; 25 m apart that is 5,000 km"
    )
    length_m: int = _limit(
        300_000, "m", "of a drawn line or a centreline; rally stages have up to 80 km"
    )
    extent_m: int = _limit(
        1_000_000, "m", "across recordings, or the features of a track file, on one plane"
    )


_budgets: ContextVar[Budgets] = ContextVar("budgets", default=Budgets())  # noqa: B039 - frozen
RATIO_FROM_BYTES = 32 << 20
"""Less than this may be packed as tightly as it likes."""


def budgets() -> Budgets:
    """Return the limits that hold now."""
    return _budgets.get()


@contextmanager
def raised(limits: Mapping[str, int]) -> Iterator[None]:
    """Let other limits hold inside, by the names of `Budgets`.

    Raises
    ------
    TrackkitError
        When a name is none of them, or a limit is below 1.
    """
    names = [limit.name for limit in fields(Budgets)]
    for name, most in limits.items():
        if name not in names or most < 1:
            raise TrackkitError(
                f"{name}={most} is no limit", remedy=f"the limits are {', '.join(names)}"
            )
    token = _budgets.set(replace(_budgets.get(), **limits))
    try:
        yield
    finally:
        _budgets.reset(token)


def require(
    name: str,
    amount: float,
    error: type[TrackkitError],
    what: str,
    *,
    file: str | os.PathLike[str] | None = None,
    place: str | None = None,
    remedy: str = "",
) -> None:
    """Refuse an amount beyond its limit.

    Parameters
    ----------
    name
        Of `Budgets`.
    amount
        How much there is.
    error
        What to raise.
    what
        Words before the amount, such as "holds".
    file, place
        Where.
    remedy
        What to do rather than raise the limit.
    """
    most = getattr(budgets(), name)
    if amount <= most:
        return
    unit = next(limit.metadata["unit"] for limit in fields(Budgets) if limit.name == name)
    raise error(
        f"{what} {amount:,.0f} {unit}, more than the {most:,} that trackkit takes on",
        file=file,
        place=place,
        remedy=Remedy(
            f"{remedy + ', or ' if remedy else ''}raise the limit",
            do="raise limit",
            value={"limit": name, "most": math.ceil(amount)},
        ),
    )
