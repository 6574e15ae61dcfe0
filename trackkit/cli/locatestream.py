"""``trackkit locate -``: fixes from standard input, answers as soon as there are any."""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import click

from trackkit.cli.common import print_json, remark
from trackkit.units import units

if TYPE_CHECKING:
    from trackkit.library.drive_filter import Judgement
    from trackkit.library.folders import Library
    from trackkit.library.known import Candidate, Known


def stream(library: Library, radius_m: float, *, as_json: bool) -> None:
    """Read NMEA 0183 from standard input and say which circuit it is, whenever that changes.

    With `as_json` the answers are printed as one document when the input ends.

    Raises
    ------
    TrackkitError
        When the input ends without one fix.
    """
    from trackkit.cli.located_text import open_between, title
    from trackkit.errors import RecordingError
    from trackkit.library.drive_filter import NOTHING, Locator
    from trackkit.recordings.nmea.stream import fixes_of_nmea

    left_out: Counter[str] = Counter()
    locator = Locator(library.near)
    judgement, number, printed_key = NOTHING, 0, ""
    answers: list[dict[str, Any]] = []
    fix = None
    for fix in fixes_of_nmea(sys.stdin.buffer, left_out):
        number += 1
        judgement = locator.update(fix)
        if number == 1:
            text = _first(library, fix.longitude_deg, fix.latitude_deg, radius_m)
        elif judgement.settled is not None:
            text = f"at {title(judgement.settled)} [{judgement.settled.id}]"
        elif len(judgement.still_open) > 1:
            text = open_between(list(judgement.still_open), judgement.part_at_m)
        else:
            continue
        if _key(judgement, number) == printed_key:
            continue
        printed_key = _key(judgement, number)
        answers.append({"fix": number, "text": text, "settled": judgement.settled is not None})
        if not as_json:
            click.echo(f"fix {number}: {text}")
            sys.stdout.flush()
    if left_out["damaged"]:
        remark(f"left out {left_out['damaged']} damaged NMEA sentences")
    if fix is None:
        raise RecordingError(
            "holds no fix",
            file="standard input",
            remedy="pipe NMEA 0183 with RMC, GGA or GNS sentences into it",
        )
    if as_json:
        located = library.locate(fix.longitude_deg, fix.latitude_deg, radius_m=radius_m)
        candidates = judgement.candidates or located.candidates
        if judgement.candidates:
            candidates = _dated(candidates, locator.circuits, fix.longitude_deg)
        part = judgement.part_at_m
        print_json(
            {
                "answer": located.answer,
                "candidates": [candidate.as_row() for candidate in candidates[:6]],
                "tied": [
                    candidate.id
                    for candidate in judgement.still_open
                    if len(judgement.still_open) > 1
                ],
                "part_at_m": None if part is None else round(part, 1),
                "unknown": round(judgement.unknown, 4),
                "settled": None if judgement.settled is None else judgement.settled.id,
                "fixes": number,
                "answers": answers,
            }
        )


def _dated(
    candidates: Sequence[Candidate], circuits: Sequence[Known], longitude_deg: float
) -> tuple[Candidate, ...]:
    """Say of candidates whether they are valid today: what a receiver sends is of today."""
    from trackkit.track.validity import validity_on

    validity = validity_on(circuits, datetime.now(UTC), longitude_deg)
    of = {circuit.id: there for circuit, there in zip(circuits, validity, strict=True)}
    return tuple(replace(candidate, validity=of[candidate.id]) for candidate in candidates)


def _key(judgement: Judgement, number: int) -> str:
    """Make what must differ for an answer to be said again: not where the open ones part."""
    if judgement.settled is not None:
        return f"{judgement.settled.id} {judgement.settled.reversed}"
    among = sorted(f"{candidate.id} {candidate.reversed}" for candidate in judgement.still_open)
    return "|".join(among) if len(among) > 1 else f"first {number == 1}"


def _first(library: Library, longitude_deg: float, latitude_deg: float, radius_m: float) -> str:
    located = library.locate(longitude_deg, latitude_deg, radius_m=radius_m)
    if not located.candidates:
        return "no circuit is known: the libraries are empty"
    nearest = located.candidates[0]
    if located.tied:
        return f"at one of {', '.join(located.tied)}"
    if located.answer == "none":
        return f"no known circuit within {radius_m / 1000:g} km"
    away = units().length_text(nearest.distance_m)
    return f"{located.answer} {nearest.name} [{nearest.id}], {away} away"
