"""Words for people: counts, sentences cut short, and texts of unknown origin made fit to print."""

from __future__ import annotations

import unicodedata
from collections.abc import Sized

LONGEST_SENTENCE = 400
"""No sentence that trackkit says about an error is longer."""
_LEAST_WHERE, _LEAST_WHAT, _LEAST_REMEDY = 100, 160, 120
_LAST_WORDS = 50
"""So much of each part of such a sentence stays at least."""
_LONGEST = 80


def counted(things: Sized, singular: str, plural: str | None = None) -> str:
    """Write how many there are: ``1 gate``, ``4 gates``."""
    return f"{len(things):,} {singular if len(things) == 1 else plural or singular + 's'}"


def shortened(text: str) -> str:
    """Cut a sentence that is too long to stand in a `repr`."""
    return text if len(text) <= _LONGEST else text[: _LONGEST - 1] + "…"


def printable(text: str) -> str:
    """Write a text as one line without control characters.

    Whatever a file holds may stand in what is said about it.  Characters that a terminal obeys
    rather than shows, those that turn the direction of writing among them, are written as Python
    escapes them.
    """
    if text.isprintable():
        return text
    return "".join(_shown(character) for character in text)


def _shown(character: str) -> str:
    if character.isprintable() or unicodedata.category(character) == "Zs":
        return character
    if character in "\t\n\r":
        return " "
    return character.encode("unicode_escape").decode()


def single_sentence(where: str, what: str, remedy: str = "") -> str:
    """Say what is wrong, where, and what to do, in at most `LONGEST_SENTENCE` characters.

    What is wrong is cut short first, such as a list of all columns of a file; then the remedy;
    then the place, of which the end, a file's own name, is kept.

    Parameters
    ----------
    where
        File and place in it, or nothing.
    what
        What is wrong.
    remedy
        What to do, or nothing.
    """
    where, what, remedy = printable(where), printable(what), printable(remedy)
    over = len(_joined(where, what, remedy)) - LONGEST_SENTENCE
    if over > 0:
        what = _middle_out(what, max(len(what) - over, _LEAST_WHAT))
        over = len(_joined(where, what, remedy)) - LONGEST_SENTENCE
    if over > 0:
        remedy = _middle_out(remedy, max(len(remedy) - over, _LEAST_REMEDY))
        over = len(_joined(where, what, remedy)) - LONGEST_SENTENCE
    if over > 0:
        where = "…" + where[-max(len(where) - over, _LEAST_WHERE) + 1 :]
    return _joined(where, what, remedy)


def _joined(where: str, what: str, remedy: str) -> str:
    return "; ".join(part for part in (f"{where}: {what}" if where else what, remedy) if part)


def _middle_out(text: str, length: int) -> str:
    """Cut out what is too much, before the last words: those often say what is wrong."""
    if len(text) <= length:
        return text
    return text[: length - 1 - _LAST_WORDS] + "…" + text[-_LAST_WORDS:]
