"""``trackkit laps``: what it prints, what it writes, and what it asks."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from drives import block_circuit, drive, hill_course, track_of

from trackkit.cli import run
from trackkit.cli.laptext import time_cell
from trackkit.errors import TrackkitError
from trackkit.gates.placement import with_gate
from trackkit.recordings.write import write_recording
from trackkit.simulation.simulate import simulate_drive
from trackkit.timing.lap_times import time_laps
from trackkit.timing.rows import CSV_COLUMNS, laps_csv, session_row
from trackkit.timing.sessions import (
    Session,
    choose_reference,
    decimals,
    lap_difference,
    ranking,
    rfc3339,
    sector_differences,
    time_zone,
)
from trackkit.track.file import write_track
from trackkit.track.places import Place

GATES = [("finish", "finish", 0.0), ("one", "sector", 347.0), ("two", "sector", 800.0)]


@pytest.fixture(scope="module")
def block():
    """An invented circuit with three sectors and a speed gate, in a zone with summer time."""
    plain = track_of(block_circuit(), gates=GATES, spacing_m=2.0, timezone="Europe/Vienna")
    track, _, _ = with_gate(plain, "speed", Place(chainage_m=1250.0), name="Trap")
    return track


@pytest.fixture(scope="module")
def outings(block):
    return [simulate_drive(block, laps=3, rate_hz=10, seed=seed) for seed in (1, 2)]


@pytest.fixture(scope="module")
def sessions(block, outings):
    return [
        Session(f"{name}.csv", name, time_laps(block, outing.recording))
        for name, outing in zip(["anna", "bert"], outings, strict=True)
    ]


@pytest.fixture(scope="module")
def folder(tmp_path_factory, block, outings):
    made = tmp_path_factory.mktemp("laps")
    write_track(block, made / "block.geojson")
    for name, outing in zip(["anna", "bert"], outings, strict=True):
        write_recording(outing.recording, made / f"{name}.csv")
        lines = [
            f"{lap['number'] + 4},{lap['time_s']:.3f},"
            + ",".join(f"{sector:.3f}" for sector in lap["sectors_s"])
            for lap in outing.truth["laps"]
        ]
        (made / f"{name}-official.csv").write_text(
            "\n".join(["lap,time,sector 1,sector 2,sector 3", *lines[1:]]) + "\n"
        )
    return made


@pytest.fixture
def laps(folder, monkeypatch, capsys):
    """Run the command in the folder; its status, standard output and standard error."""
    monkeypatch.chdir(folder)

    def work(*arguments, status=0):
        capsys.readouterr()
        assert run(["laps", "block.geojson", *arguments]) == status
        return capsys.readouterr()

    return work


def rows_of(path):
    return list(csv.DictReader(io.StringIO(path.read_text("utf-8"))))


# Decimals


@pytest.mark.parametrize(
    ("sigma", "places"),
    [(0.0004, 3), (0.004, 3), (0.0123, 3), (0.0949, 3), (0.0994, 3), (0.0996, 2), (0.13, 2),
     (0.99, 2), (1.3, 1), (14.0, 0), (400.0, 0), (None, 3), (0.0, 3)],
)  # fmt: skip
def test_the_last_decimal_is_no_finer_than_the_second_digit_of_the_uncertainty(sigma, places):
    # At most two significant digits of an uncertainty (JCGM 100, 7.2.6; from memory); timekeepers
    # give thousandths (common practice, no source).
    assert decimals(sigma) == places


@pytest.mark.parametrize(
    ("sigma", "cell"),
    [(0.004, "1:02.346 ±0.004"), (0.131, "1:02.35  ±0.13 "), (14.0, "1:02     ±14    "),
     (0.00001, "1:02.346 ±0.001")],
)  # fmt: skip
def test_decimal_points_line_up_whatever_the_decimals(sigma, cell):
    assert time_cell(62.3456, sigma) == cell


def test_the_best_of_a_column_has_a_text_mark():
    assert time_cell(62.3456, 0.004, 62.3456) == "1:02.346*±0.004"


# Differences, reference, ranking


def test_the_reference_is_the_best_lap_of_all_unless_one_is_named(sessions):
    best = min((lap.time_s, s.label) for s in sessions for lap in s.report.counted)

    chosen = choose_reference(sessions)

    assert (chosen.lap.time_s, chosen.session.label) == best


@pytest.mark.parametrize("wanted", ["anna:2", "anna.csv:2"])
def test_a_reference_is_named_by_file_or_label(sessions, wanted):
    chosen = choose_reference(sessions, wanted)

    assert (chosen.session.label, chosen.lap.number) == ("anna", 2)


def test_with_one_recording_a_lap_number_is_enough(sessions):
    assert choose_reference(sessions[:1], "3").lap.number == 3


@pytest.mark.parametrize(
    ("wanted", "says"),
    [("2", "lap 2 of which recording"), ("carl:2", "'carl' is not among"),
     ("anna:0", "has no lap 0 with a time"), ("anna:99", "laps with a time are 1, 2, 3"),
     ("anna", "has no lap number")],
)  # fmt: skip
def test_a_reference_that_is_not_clear_is_asked_about(sessions, wanted, says):
    with pytest.raises(TrackkitError, match=says):
        choose_reference(sessions, wanted)


def test_sector_differences_add_up_to_the_laps(sessions):
    reference = choose_reference(sessions, "anna:1")

    for session in sessions:
        for lap in session.report.counted:
            whole = lap_difference(session, lap, reference)
            parts = sector_differences(session, lap, reference)
            assert whole.time_s == pytest.approx(lap.time_s - reference.lap.time_s, abs=1e-9)
            assert sum(part.time_s for part in parts) == pytest.approx(whole.time_s, abs=1e-9)


def test_a_lap_differs_from_itself_by_nothing_for_sure(sessions):
    reference = choose_reference(sessions, "anna:1")

    own = lap_difference(reference.session, reference.lap, reference)

    assert (own.time_s, own.sigma_s) == (0.0, 0.0)


def test_laps_of_two_recordings_are_independent(sessions):
    # Uncorrelated quantities: variances add (JCGM 100, 5.1.2; from memory).
    reference = choose_reference(sessions, "anna:1")
    other = sessions[1].report.counted[0]

    difference = lap_difference(sessions[1], other, reference)

    assert difference.sigma_s == pytest.approx(np.hypot(other.sigma_s, reference.lap.sigma_s))


def test_the_laps_of_all_recordings_are_one_ranking(sessions):
    ranked = ranking(sessions)

    times = [one.lap.time_s for one in ranked]
    assert times == sorted(times)
    assert len(times) == 6
    assert {one.session.label for one in ranked} == {"anna", "bert"}


# Times of day


def test_times_of_day_are_in_the_tracks_zone_too_across_the_change_of_the_clocks(block, outings):
    # Central European Summer Time ended on 27 October 2024 at 01:00 UTC (the EU's rule since 1996,
    # directive 2000/84/EC; from memory).
    start = datetime(2024, 10, 27, 0, 58, 30, 250_000, tzinfo=UTC)
    recording = replace(outings[0].recording, start=start)
    session = Session("a.csv", "a", time_laps(block, recording))

    row = session_row(block, session, None, time_zone(block))

    assert row["start"] == "2024-10-27T00:58:30.250000Z"
    assert row["start_local"] == "2024-10-27T02:58:30.250000+02:00"
    last = row["laps"][-1]
    assert last["begun_local"].startswith("2024-10-27T02:0")
    assert last["begun_local"].endswith("+01:00")
    begun = datetime.fromisoformat(last["begun"])
    assert begun - start == pytest.approx(timedelta(seconds=last["start_s"]),
                                          abs=timedelta(microseconds=1))  # fmt: skip
    assert datetime.fromisoformat(last["begun_local"]) == begun


def test_a_recording_that_only_counts_seconds_has_no_times_of_day(block, outings):
    session = Session("a", "a", time_laps(block, replace(outings[0].recording, start=None)))

    row = session_row(block, session, None, time_zone(block))

    assert row["start"] is row["start_local"] is row["laps"][1]["begun"] is None


def test_a_zone_that_is_not_known_is_said(block):
    with pytest.raises(TrackkitError, match="time zone 'Nowhere/Invented' of the track"):
        time_zone(replace(block, timezone="Nowhere/Invented"))


def test_no_zone_is_no_fault(block):
    assert time_zone(replace(block, timezone=None)) is None
    assert rfc3339(None) is None


# The command


def test_every_lap_is_printed_with_its_uncertainty_its_sectors_and_speeds(laps, sessions):
    out = laps("anna.csv").out

    report = sessions[0].report
    assert "begun 2024-05-04 09:00:00 UTC, 2024-05-04 11:00:00 Europe/Vienna" in out
    for lap in report.laps:
        (line,) = (x for x in out.splitlines() if x.split()[:2] == [str(lap.number), lap.kind])
        assert ("±" in line) == any(s.time_s is not None for s in lap.sectors)
    assert out.count("*") >= 5
    assert f"best lap {report.best_lap_s:.3f} ±" in out
    assert "theoretical best" in out
    assert "continuous best" in out
    assert "median" in out
    assert "spread" in out


def test_tables_line_up_and_stay_within_120_columns(laps):
    out = laps("anna.csv", "bert.csv", "--details").out

    assert max(map(len, out.splitlines())) <= 120
    for block_of_lines in out.split("─\n")[1:]:
        rows = block_of_lines.split("\n\n")[0].splitlines()
        assert len({len(row) for row in rows if row.startswith(" ") and row.strip()}) <= 1


def test_a_speed_gate_tells_when_and_how_fast_it_was_passed_on_each_lap(laps, sessions):
    out = laps("anna.csv").out

    report = sessions[0].report
    assert "Trap" in out
    for lap in report.counted:
        (crossing,) = lap.speed_gates
        line = next(x for x in out.splitlines() if x.split()[:2] == ["lap", str(lap.number)])
        assert f"{crossing.speed_mps * 3.6:.1f}" in line
        assert f"{crossing.time_s - lap.start_s:.2f}" in line


def test_json_has_every_decimal_and_the_keys_that_stay(laps, sessions):
    document = json.loads(laps("anna.csv", "bert.csv", "--json").out)

    assert document["track"] == "invented"
    assert document["timezone"] == "Europe/Vienna"
    assert len(document["ranking"]) == 6
    (recording, _) = document["recordings"]
    report = sessions[0].report
    # The file holds positions to 8 decimals and speeds rounded; the times stay near.
    assert recording["best_lap_s"] == pytest.approx(report.best_lap_s, abs=2e-3)
    assert recording["best_lap_s"] != round(recording["best_lap_s"], 3)
    assert recording["best_over_theoretical_s"] >= recording["best_over_continuous_s"] >= 0
    lap = recording["laps"][1]
    assert [gate["gate"] for gate in lap["gates"]][:4] == ["finish", "one", "two", "finish"]
    assert all(gate["speed_mps"] > 0 for gate in lap["gates"])
    assert len(lap["gates"]) == 5
    assert {"time_s", "sigma_s", "split_s", "top_mps", "lowest_mps", "difference_s"} <= (
        lap["sectors"][0].keys()
    )
    assert lap["lowest_mps"] < min(gate["speed_mps"] for gate in lap["gates"]) < lap["top_mps"]


def test_labels_are_given_in_the_order_of_the_recordings(laps):
    said = laps("anna.csv", "bert.csv", "--label", "Kart 7", "--label", "[bold]Kart 8", "--json")

    document = json.loads(said.out)
    assert [r["label"] for r in document["recordings"]] == ["Kart 7", "[bold]Kart 8"]
    assert [r["file"] for r in document["recordings"]] == ["anna.csv", "bert.csv"]
    assert {one["label"] for one in document["ranking"]} == {"Kart 7", "[bold]Kart 8"}


def test_a_label_is_printed_as_it_is(laps):
    assert "[bold]Kart" in laps("anna.csv", "bert.csv", "--label", "[bold]Kart", "--label", "B").out


def test_a_recording_that_cannot_be_read_does_not_shift_the_labels(laps):
    said = laps("none.csv", "bert.csv", "--label", "N", "--label", "Bert", "--json", status=1)

    (only,) = json.loads(said.out)["recordings"]
    assert (only["file"], only["label"]) == ("bert.csv", "Bert")


def test_too_few_labels_are_a_question(laps):
    said = laps("anna.csv", "bert.csv", "--label", "Anna", status=2)

    assert "2 recordings and 1 labels" in said.err


def test_differences_are_to_the_lap_named(laps, sessions):
    document = json.loads(laps("anna.csv", "bert.csv", "--reference", "bert.csv:2", "--json").out)

    assert document["reference"] == {"file": "bert.csv", "label": "bert.csv", "lap": 2}
    other = document["recordings"][1]["laps"][2]
    assert other["difference_s"] == 0
    first = document["recordings"][0]["laps"][1]
    assert first["difference_s"] == pytest.approx(first["time_s"] - other["time_s"], abs=1e-9)
    assert first["difference_sigma_s"] > 0


def test_a_reference_without_a_number_is_the_command_lines_fault(laps):
    assert "does not end with a lap number" in laps("anna.csv", "--reference", "best", status=2).err


def test_a_reference_that_is_not_there_is_told_in_one_sentence(laps):
    said = laps("anna.csv", "--reference", "77", status=1)

    assert said.out == ""
    assert "has no lap 77 with a time" in said.err


def test_the_csv_is_a_row_each_for_laps_sectors_and_speed_gates(laps, folder, tmp_path):
    path = tmp_path / "laps.csv"

    document = json.loads(laps("anna.csv", "--csv", str(path), "--json").out)

    rows = rows_of(path)
    assert tuple(rows[0]) == CSV_COLUMNS
    lap = document["recordings"][0]["laps"][2]
    mine = [row for row in rows if row["lap"] == "2"]
    assert [row["part"] for row in mine] == ["lap", "sector", "sector", "sector", "speed gate"]
    assert float(mine[0]["time_s"]) == lap["time_s"]
    assert float(mine[0]["split_s"]) == lap["time_s"]
    assert mine[0]["begun_local"] == lap["begun_local"]
    for row, sector in zip(mine[1:4], lap["sectors"], strict=True):
        assert float(row["time_s"]) == sector["time_s"]
        assert float(row["difference_sigma_s"]) == sector["difference_sigma_s"]
    assert [row["gate"] for row in mine[1:4]] == ["one", "two", "finish"]
    assert float(mine[4]["gate_speed_mps"]) == lap["gates"][4]["speed_mps"]
    assert mine[4]["gate_name"] == "Trap"


def test_text_that_looks_like_a_formula_is_not_run(block, sessions):
    # OWASP, CSV injection: = + - @ tab and carriage return begin one (from memory).
    session = Session('=cmd|"x"', "@SUM(1)", sessions[0].report)

    rows = list(csv.DictReader(io.StringIO(laps_csv(block, [session], None, None))))

    assert {row["file"] for row in rows} == {'\'=cmd|"x"'}
    assert {row["label"] for row in rows} == {"'@SUM(1)"}
    assert not any(float(row["start_s"] or 0) < 0 for row in rows)


@pytest.mark.parametrize("option", ["--csv", "--traces"])
def test_a_file_that_exists_is_kept_unless_forced(laps, tmp_path, option):
    path = tmp_path / "there.csv"
    path.write_text("mine")

    said = laps("anna.csv", option, str(path), status=1)

    assert said.out == ""
    assert "exists already" in said.err
    assert path.read_text() == "mine"
    laps("anna.csv", option, str(path), "--force")
    assert path.read_text() != "mine"


def test_two_outputs_in_one_file_are_refused(laps, tmp_path):
    path = str(tmp_path / "one.csv")

    assert "same file" in laps("anna.csv", "--csv", path, "--traces", path, status=2).err


def test_traces_are_written_for_every_recording(laps, tmp_path):
    path = tmp_path / "traces.csv"

    laps("anna.csv", "bert.csv", "--label", "A", "--label", "B", "--traces", str(path))

    rows = rows_of(path)
    assert {row["label"] for row in rows} == {"A", "B"}
    assert len(rows) == 6 * (int(block_circuit().length_m) + 1)


def test_official_times_are_paired_and_compared(laps, outings):
    # The official list lacks the first lap and counts from elsewhere.
    said = laps("anna.csv", "--official", "anna-official.csv", "--json")

    official = json.loads(said.out)["recordings"][0]["official"]
    assert [(p["official_lap"], p["lap"]) for p in official["pairs"]] == [(6, 2), (7, 3)]
    assert official["laps_alone"] == [1]
    assert abs(official["bias_s"]) < 0.02
    assert [abs(sector["bias_s"]) < 0.1 for sector in official["sectors"]] == [True] * 3
    assert "not for officiating" in said.err


def test_official_times_are_told_in_words_too(laps):
    said = laps("anna.csv", "--official", "anna-official.csv")

    assert "official times of anna-official.csv: 2 pairs" in said.out
    assert "recorded laps without an official one: 1" in said.out
    assert "bias" in said.out
    assert "outliers: none" in said.out
    assert "sector 3: bias" in said.out
    assert "not for officiating" in said.err


def test_a_list_with_another_number_of_sectors_is_compared_by_laps_alone(laps, tmp_path, outings):
    path = tmp_path / "two.csv"
    lines = [f"{lap['time_s']:.3f},20,30" for lap in outings[0].truth["laps"]]
    path.write_text("\n".join(["time,sector 1,sector 2", *lines]) + "\n")

    said = laps("anna.csv", "--official", str(path))

    assert "3 pairs" in said.out
    assert "sectors are not compared: the list has 2, the track 3" in said.out


def test_official_columns_answer_the_question(laps, tmp_path):
    path = tmp_path / "zeiten.csv"
    path.write_text("Runde;Zeit\n1;55,1\n")

    said = laps("anna.csv", "--official", str(path), status=1)
    assert "which of its columns holds the lap time" in said.err
    assert said.out == ""

    laps("anna.csv", "--official", str(path), "--official-columns", "lap=Runde,time=Zeit")


def test_missed_gates_are_told_by_name_and_lap(tmp_path, folder, block, capsys):
    # The second sector gate is moved off the road.
    moved = block.with_gates(
        replace(g, left=shifted(g.left), right=shifted(g.right)) if g.id == "two" else g
        for g in block.gates
    )
    write_track(moved, tmp_path / "moved.geojson")

    assert run(["laps", str(tmp_path / "moved.geojson"), str(folder / "anna.csv")]) == 0

    out = capsys.readouterr().out
    assert "missed: Two on laps 0, 1, 2, 3" in out
    assert "no complete flying lap" in out
    (line,) = (x for x in out.splitlines() if x.split()[:2] == ["1", "flying"])
    assert line.split()[5:8].count("-") >= 1


def shifted(position):
    return position[0] + 0.01, position[1]


def test_runs_of_a_point_to_point_course_are_printed(tmp_path, capsys):
    gates = [("start", "start", 50.0), ("mid", "sector", 600.0), ("finish", "finish", 1200.0)]
    track = track_of(hill_course(), gates=gates, spacing_m=2.0)
    write_track(track, tmp_path / "hill.geojson")
    outing = drive(hill_course(), cruise=18.0, from_rest=True)
    write_recording(outing.recording(10, doppler=True), tmp_path / "run.csv")

    assert run(["laps", str(tmp_path / "hill.geojson"), str(tmp_path / "run.csv")]) == 0

    out = capsys.readouterr().out
    assert "1 complete flying lap of Invented" in out
    assert "best lap" in out


def test_pit_laps_are_marked_and_do_not_count(tmp_path, capsys, block):
    track, _, _ = with_gate(block, "pit-exit", Place(chainage_m=60.0))
    write_track(track, tmp_path / "pit.geojson")
    outing = drive(block_circuit(), begin_m=1300.0, laps=2.3, cruise=25.0)
    write_recording(outing.recording(10, doppler=True), tmp_path / "run.csv")

    assert run(["laps", str(tmp_path / "pit.geojson"), str(tmp_path / "run.csv"), "--json"]) == 0

    (recording,) = json.loads(capsys.readouterr().out)["recordings"]
    assert [lap["kind"] for lap in recording["laps"]] == ["out", "pit", "pit", "in"]
    assert recording["best_lap_s"] is None
    assert Path(recording["file"]).name == "run.csv"
