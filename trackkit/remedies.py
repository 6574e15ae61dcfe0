"""What to do about a finding or an error, as data that command line and page put into words."""

from __future__ import annotations

import reprlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from trackkit.words import shortened

Deed = Literal[
    # Edits of a track, and of its file.
    "gate move",
    "gate place",
    "gate remove",
    "gate suggest",
    "set",
    "accept",
    # Other work on the file that it is about.
    "check",
    "locate",
    "reverse",
    "build",
    "build from line",
    "build revise",
    "check recording",
    "finish forgetting",
    "list drivers",
    "place plan",
    # The same work again, with other arguments.
    "build open",
    "build layout",
    "replace file",
    "replace track",
    "name columns",
    "name official columns",
    "name grid",
    "name picture grid",
    "name credit",
    "name layers",
    "name fields",
    "name onto",
    "read as recording",
    "leave out",
    "anyway",
    "raise limit",
    "report",
]
"""What a remedy can have done; docs/methods.md tells what those of findings take."""


@dataclass(frozen=True)
class Remedy:
    """What can be done about something that is wrong.

    Parameters
    ----------
    what
        What to do, a clause for people, without a full stop.
    do
        The same by name, or None where it takes a person's hand or knowledge.
    feature
        Id of the gate, or other feature, that it is done to, or None.
    chainage_m
        Where along the centreline it goes, metres, or None.
    value
        What else is needed, by name, of the types JSON has, or None.

    Examples
    --------
    >>> import trackkit
    >>> try:
    ...     trackkit.open_library(["nowhere"])
    ... except trackkit.TrackkitError as error:
    ...     print(error.remedy.what)
    name another folder as the library
    """

    what: str
    do: Deed | None = None
    feature: str | None = None
    chainage_m: float | None = None
    value: Mapping[str, Any] | None = field(default=None, hash=False)

    def __repr__(self) -> str:
        done = "" if self.do is None else f", do={self.do!r}"
        on = "" if self.feature is None else f", feature={reprlib.repr(self.feature)}"
        at = "" if self.chainage_m is None else f", chainage_m={self.chainage_m:.2f}"
        return f"Remedy({shortened(self.what)!r}{done}{on}{at})"

    def as_row(self) -> dict[str, Any] | None:
        """Write what is done as the ``action`` of a finding's JSON.

        Returns
        -------
        dict or None
            The fields by name, the chainage in metres, to a centimetre; None where nothing is done.
        """
        if self.do is None:
            return None
        return {
            "do": self.do,
            "feature": self.feature,
            "chainage_m": None if self.chainage_m is None else round(self.chainage_m, 2),
            "value": None if self.value is None else dict(self.value),
        }
