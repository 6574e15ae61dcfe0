"""Gates as CSV, read back by pandas and the csv module."""

import csv
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest


def test_csv_has_one_row_a_gate_with_numbers_pandas_reads(track, exported):
    frame = pd.read_csv(exported(track, "csv"))
    assert frame["id"].tolist() == ["finish", "north", "half"]
    assert frame["kind"].tolist() == ["finish", "sector", "sector"]
    assert frame["order"].tolist() == [0, 1, 2]
    assert frame["width_m"].to_numpy() == pytest.approx([12.0] * 3, abs=1e-3)
    assert frame["left_longitude_deg"].to_numpy() == pytest.approx(
        [gate.left[0] for gate in track.gates], abs=1e-9
    )
    # By hand: anticlockwise round a ring from its east end, a driver heads north there, west at
    # the north end and south at the west end.
    assert frame["bearing_deg"].to_numpy() == pytest.approx([0.0, 270.0, 180.0], abs=0.05)


@pytest.mark.parametrize(
    "name", ['=HYPERLINK("http://example.invalid")', "+1", "-1+2", "@SUM(1)", "\t=1", "  =1"]
)
def test_csv_keeps_a_spreadsheet_from_running_a_name_as_a_formula(track, exported, name):
    # OWASP, CSV injection (from memory): cells must not begin with = + - @ or a tab.
    finish, *others = track.gates
    path = exported(track.with_gates([replace(finish, name=name), *others]), "csv")
    with path.open(newline="", encoding="utf-8") as file:
        row = next(csv.DictReader(file))
    assert row["name"] == f"'{name}"


def test_csv_quotes_commas_quotes_and_line_ends_in_names(track, exported):
    finish, *others = track.gates
    name = 'Start, "Finish"\nand pit'
    path = exported(track.with_gates([replace(finish, name=name), *others]), "csv")
    assert pd.read_csv(path)["name"][0] == name


def test_csv_across_the_antimeridian_has_the_middle_between_the_ends(astride, exported):
    frame = pd.read_csv(exported(astride, "csv"))
    longitudes = frame.filter(like="longitude").to_numpy()
    assert np.abs(longitudes).max() <= 180
    assert np.abs(longitudes).min() > 179.99
    north = frame[frame["id"] == "north"].iloc[0]
    assert abs(north["middle_longitude_deg"]) == pytest.approx(180, abs=1e-6)
    assert north["bearing_deg"] == pytest.approx(270.0, abs=0.05)


def test_characters_xml_cannot_hold_are_left_out_of_names(oddly_named, exported):
    assert pd.read_csv(exported(oddly_named, "csv"))["name"][0] == "Finish Ö"
