"""Something that is wrong with a lap."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

RemarkKind = Literal["stood", "gap", "left", "turned", "short", "slow", "elsewhere"]


@dataclass(frozen=True)
class LapRemark:
    """Something wrong with a lap.

    Parameters
    ----------
    kind
        The vehicle stood, fixes are missing ("gap"), it left the line, turned round, cut the
        circuit short, was slow, or the lap counts in another recording ("elsewhere").
    text
        In words, with its figures.
    begin_s, end_s
        When, seconds from the first fix; None where it is about the lap as a whole.
    chainage_m
        Where along the centreline it began.
    aside_m
        How far from the centreline it was at most, where it left it.
    sectors
        The sectors that it spoils, counted from 0.
    """

    kind: RemarkKind
    text: str
    begin_s: float | None = None
    end_s: float | None = None
    chainage_m: float | None = None
    aside_m: float | None = None
    sectors: tuple[int, ...] = ()

    def as_row(self) -> dict[str, Any]:
        """Write the remark as JSON; sectors count from 1."""
        return {
            "kind": self.kind,
            "text": self.text,
            "begin_s": self.begin_s,
            "end_s": self.end_s,
            "chainage_m": self.chainage_m,
            "aside_m": self.aside_m,
            "sectors": [index + 1 for index in self.sectors],
        }
