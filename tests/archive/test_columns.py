"""docs/archive.md tells every column of every table, each with its unit."""

from __future__ import annotations

import re

import pytest
from doc_pages import DOCS, page_text

from trackkit.archive.columns import TABLES

UNITS = {
    "_s": "s",
    "_m": "m",
    "_deg": "°",
    "_mps": "m/s",
    "_mps2": "m/s²",
    "_m2ps5": "m²/s⁵",
    "_degc": "°C",
    "_us": "µs",
    "_10um": "10 µm",
    "_100umps": "0.1 mm/s",
    "_mmps2": "mm/s²",
    "_ppb": "10⁻⁹",
    "_ppm": "10⁻⁶",
    "_mm": "mm",
    "_urad": "µrad",
    "_um": "µm",
}
ROW = re.compile(r"^\| (`[^|]+`) \| ([^|]*)\| ", re.MULTILINE)


def told(name: str) -> dict[str, str]:
    section = page_text(DOCS / "archive.md").split(f"### {name}\n")[1].split("\n### ")[0]
    return {
        column: unit.strip()
        for columns, unit in ROW.findall(section)
        for column in re.findall(r"`(\w+)`", columns)
    }


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.name)
def test_the_page_tells_the_columns_in_order_with_units(table):
    columns = told(table.name)
    assert tuple(columns) == table.names
    for column in table.columns:
        ending = max((end for end in UNITS if column.name.endswith(end)), key=len, default="")
        expected = "UTC" if column.kind == "moment" else UNITS.get(ending, "")
        assert columns[column.name] == expected, column.name
        if column.kind not in ("wholes", "numbers"):
            assert (column.kind == "number") == bool(ending), column.name
