"""Every finding's sentences can be read in feet and miles an hour: no measure stays behind."""

from __future__ import annotations

import ast
import json
import re
from pathlib import Path

import pytest
from seeded_faults import FAULTS, TRACK

import trackkit.checks
from trackkit.checks.check import check_file
from trackkit.units import as_read, shown_in

SOURCES = sorted(Path(trackkit.checks.__file__).parent.glob("*.py"))
METRIC = re.compile(r"(?<=\d) ?(?:km/h|m/s²|m/s|km|m)(?![\w²])")
FIGURE = re.compile(r"\d[\d.,]*\d|\d")


def sentences():
    """Texts of all rules as their source has them, a figure in the place of what is worked out."""
    for source in SOURCES:
        for node in ast.walk(ast.parse(source.read_text("utf-8"))):
            if isinstance(node, ast.JoinedStr):
                text = "".join(
                    part.value
                    if isinstance(part, ast.Constant)
                    else "120.5"
                    if part.format_spec
                    else "Name"
                    for part in node.values
                )
                if METRIC.search(text):
                    yield pytest.param(text, id=f"{source.stem}:{node.lineno}")


TEXTS = list(sentences())


def test_the_texts_of_rules_were_read():
    assert len(TEXTS) > 25


@pytest.mark.parametrize("text", TEXTS)
def test_no_measure_of_a_rule_stays_in_metres(text):
    with shown_in("imperial"):
        feet = as_read(text)

    assert not METRIC.search(feet)
    # International foot: 120.5 m are 395.3 ft; 120.5 km/h are 74.9 mph.
    converted = FIGURE.findall(feet)
    assert {"395.3", "74.9", "395"} & set(converted)
    assert len(converted) == len(FIGURE.findall(text))


@pytest.mark.slow
@pytest.mark.parametrize("fault", FAULTS, ids=[row[0] for row in FAULTS])
def test_no_finding_of_a_damaged_track_stays_in_metres(fault, tmp_path):
    _, name, damage, _, _ = fault
    made = TRACK[name]()
    damage(made)
    path = tmp_path / "damaged.geojson"
    path.write_text(json.dumps(made), "utf-8")
    for finding in check_file(path)[1]:
        for text in (finding.message, finding.remedy.what):
            with shown_in("imperial"):
                feet = as_read(text)
            assert not METRIC.search(feet)
            assert len(re.findall(r"\d (?:ft|mph|mi)\b", feet)) == len(METRIC.findall(text))
