"""docs/columns.md tells every column of every frame, each with its unit."""

from __future__ import annotations

import re

import pytest
from doc_pages import DOCS, page_text

import trackkit

UNITS = {"_s": "s", "_m": "m", "_deg": "°", "_mps": "m/s", "_mps2": "m/s²"}
ROW = re.compile(r"^\| (`[^|]+`) \| ([^|]*)\| ", re.MULTILINE)


def told(heading):
    """Columns of the section's table, in order, with their units."""
    text = page_text(DOCS / "columns.md").split(f"## {heading}\n")[1].split("\n## ")[0]
    return {
        name: unit.strip()
        for names, unit in ROW.findall(text)
        for name in re.findall(r"`(\w+)`", names)
    }


@pytest.mark.parametrize(
    ("heading", "make"),
    [
        ("Laps", trackkit.laps_frame),
        ("Traces", trackkit.traces_frame),
        ("Crossings", trackkit.crossings_frame),
        ("Sectors", trackkit.sectors_frame),
    ],
)
def test_the_page_tells_the_columns_of_the_frame_in_order_with_units(heading, make):
    columns = told(heading)
    kinds = make([]).dtypes
    assert list(columns) == list(kinds.index)
    for name, unit in columns.items():
        ending = max((end for end in UNITS if name.endswith(end)), key=len, default="")
        times = "UTC" if str(kinds[name]).startswith("datetime") else ""
        assert unit == (times or UNITS.get(ending, ""))
