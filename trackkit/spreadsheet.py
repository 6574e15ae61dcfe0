"""CSV as spreadsheets read it, with nothing in it that they would run."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence


def spreadsheet_text(text: str) -> str:
    """Keep a spreadsheet from running a text as a formula.

    A text that begins like one gets an apostrophe before it, which spreadsheets hide (OWASP,
    CSV injection; from memory).
    """
    return f"'{text}" if text.lstrip(" ")[:1] in set("=+-@\t\r\n") else text


def csv_text(header: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Write rows as CSV (RFC 4180, lines ended by a line feed alone).

    Texts are made safe for spreadsheets, numbers keep all their decimals, None is empty, and
    truth is ``yes`` or ``no``.
    """
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(header)
    writer.writerows([_cell(value) for value in row] for row in rows)
    return text.getvalue()


def _cell(value: object) -> object:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return spreadsheet_text(value) if isinstance(value, str) else value
