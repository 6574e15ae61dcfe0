"""The verdict on a track, as commands print it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from trackkit.cli.remedies import About, sentence
from trackkit.track.names import names_in
from trackkit.units import as_read

if TYPE_CHECKING:
    from trackkit.checks.verdict import Judgement
    from trackkit.track.model import Track

_MOST_REASONS = 4


def verdict_lines(judgement: Judgement, path: str, track: Track) -> Iterator[str]:
    """Write a verdict for people: fit or not, why not, and what to do next.

    Parameters
    ----------
    judgement
        What was judged.
    path
        Of the track file.
    track
        Its names stay as they are in any units.
    """
    names = (path, *names_in(track))
    fit = "fit to hand on" if judgement.fit else "not fit to hand on"
    yield f"verdict: {fit} (geometry {judgement.letters})"
    reasons = judgement.verdict.reasons
    shown = reasons if len(reasons) <= _MOST_REASONS else reasons[: _MOST_REASONS - 1]
    for reason in shown:
        yield f"    {as_read(reason, names)}"
    if len(shown) < len(reasons):
        yield f"    and {len(reasons) - len(shown)} more reasons (--json lists them all)"
    for remark in judgement.remarks:
        yield f"    {as_read(remark, names)}"
    if judgement.next_step is not None:
        yield f"    next: {as_read(sentence(judgement.next_step, About(path)), names)}"


def verdict_sentence(judgement: Judgement, track: Track) -> str:
    """Write a verdict as one sentence, for a sheet of paper."""
    why = [*judgement.verdict.reasons, *judgement.remarks]
    fit = "Fit to hand on" if judgement.fit else "Not fit to hand on"
    return f"{fit}: {as_read('; '.join(why), names_in(track))}." if why else f"{fit}."


def verdict_row(judgement: Judgement, path: str) -> dict[str, Any]:
    """Write a verdict as JSON, the next thing to do with the command that does it."""
    row = judgement.as_row()
    if judgement.next_step is not None:
        row["next"] = sentence(judgement.next_step, About(path))
    return row


def stored_line(track: Track) -> str | None:
    """Say what verdict the file carries, while it is about the geometry that the file has."""
    from trackkit import stored_verdict

    verdict = stored_verdict(track)
    if verdict is None:
        return None
    return f"judged {'fit' if verdict.fit else 'not fit'} on {verdict.date}, as it is now"
