"""``trackkit laps``: what it prints, what it writes, and what it asks."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import two_sessions
from drives import block_circuit, drive, hill_course, track_of

from trackkit.cli import run
from trackkit.gates.placement import with_gate
from trackkit.recordings.write import write_recording
from trackkit.timing.rows import CSV_COLUMNS
from trackkit.timing.summary import SUMMARY_COLUMNS
from trackkit.track.file import write_track
from trackkit.track.places import Place


@pytest.fixture(scope="module")
def block():
    return two_sessions.block()


@pytest.fixture(scope="module")
def outings():
    return two_sessions.outings()


@pytest.fixture(scope="module")
def sessions():
    return two_sessions.sessions()


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


@pytest.mark.slow
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


@pytest.mark.slow
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


@pytest.mark.slow
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


@pytest.mark.slow
def test_labels_are_given_in_the_order_of_the_recordings(laps):
    said = laps("anna.csv", "bert.csv", "--label", "Kart 7", "--label", "[bold]Kart 8", "--json")

    document = json.loads(said.out)
    assert [r["label"] for r in document["recordings"]] == ["Kart 7", "[bold]Kart 8"]
    assert [r["file"] for r in document["recordings"]] == ["anna.csv", "bert.csv"]
    assert {one["label"] for one in document["ranking"]} == {"Kart 7", "[bold]Kart 8"}


@pytest.mark.slow
def test_a_label_is_printed_as_it_is(laps):
    assert "[bold]Kart" in laps("anna.csv", "bert.csv", "--label", "[bold]Kart", "--label", "B").out


def test_a_recording_that_cannot_be_read_does_not_shift_the_labels(laps):
    said = laps("none.csv", "bert.csv", "--label", "N", "--label", "Bert", "--json", status=1)

    (only,) = json.loads(said.out)["recordings"]
    assert (only["file"], only["label"]) == ("bert.csv", "Bert")


def test_too_few_labels_are_a_question(laps):
    said = laps("anna.csv", "bert.csv", "--label", "Anna", status=2)

    assert "2 recordings and 1 label:" in said.err


@pytest.mark.slow
def test_differences_are_to_the_lap_named(laps, sessions):
    document = json.loads(laps("anna.csv", "bert.csv", "--reference", "bert.csv:2", "--json").out)

    assert document["reference"] == {
        "file": "bert.csv",
        "label": "bert.csv",
        "session": 1,
        "lap": 2,
    }
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


@pytest.mark.slow
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


@pytest.mark.slow
def test_the_summary_is_a_table_of_its_own_with_all_of_json(laps, tmp_path):
    path, plain, beside = (tmp_path / name for name in ("summary.csv", "plain.csv", "laps.csv"))
    files = ("anna.csv", "bert.csv")
    laps(*files, "--csv", str(plain))

    said = laps(*files, "--summary", str(path), "--csv", str(beside), "--json")

    assert f"wrote {path}" in said.err
    assert beside.read_bytes() == plain.read_bytes()
    rows = rows_of(path)
    assert tuple(rows[0]) == SUMMARY_COLUMNS
    for summary in json.loads(said.out)["summary"]:
        mine = [row for row in rows if row["driver"] == (summary["driver"] or "")]
        assert {row["track"] for row in mine} == {"invented"}
        best = [row for row in mine if row["what"] == "best lap"]
        assert [float(row["time_s"]) for row in best] == [
            lap["time_s"] for lap in summary["best_laps"]
        ]
        assert [row["begun_local"] for row in best] == [
            lap["begun_local"] for lap in summary["best_laps"]
        ]
        assert [row["equal_to_next"] for row in best] == [
            "true" if lap["equal_to_next"] else "false" for lap in summary["best_laps"]
        ]
        sectors = [row for row in mine if row["what"] == "best sector"]
        assert [(int(row["number"]), row["file"], int(row["lap"])) for row in sectors] == [
            (sector["sector"], sector["file"], sector["lap"]) for sector in summary["best_sectors"]
        ]
        other = {row["what"]: row for row in mine if not row["number"]}
        for name in ("theoretical", "continuous"):
            row = other[f"{name} best"]
            assert float(row["sigma_s"]) == summary[f"{name}_best_sigma_s"]
            assert float(row["below_best_s"]) == summary[f"best_over_{name}_s"]
        times = {"median": "median_s", "spread": "spread_s", "time on track": "on_track_s"}
        for what, key in times.items():
            assert float(other[what]["time_s"]) == summary[key]
        assert int(other["laps"]["laps"]) == summary["laps"]
        assert int(other["laps counted"]["laps"]) == summary["laps_counted"]


@pytest.mark.slow
@pytest.mark.parametrize("option", ["--csv", "--summary", "--traces"])
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


@pytest.mark.slow
def test_traces_are_written_for_every_recording(laps, tmp_path):
    path = tmp_path / "traces.csv"

    laps("anna.csv", "bert.csv", "--label", "A", "--label", "B", "--traces", str(path))

    rows = rows_of(path)
    assert {row["label"] for row in rows} == {"A", "B"}
    assert len(rows) == 6 * (int(block_circuit().length_m) + 1)


@pytest.mark.slow
def test_losses_add_up_to_the_difference_of_each_lap(laps):
    document = json.loads(laps("anna.csv", "bert.csv", "--losses", "--json").out)
    lost = [
        (lap["losses"], lap["difference_s"])
        for recording in document["recordings"]
        for lap in recording["laps"]
        if lap["losses"] is not None
    ]
    assert len(lost) >= 4
    for rows, difference in lost:
        assert sum(row["time_s"] for row in rows) == pytest.approx(difference, abs=1e-6)
        assert {"kind", "name", "sigma_s", "least_mps", "reference_braking_m"} <= rows[0].keys()
        assert [row["time_s"] for row in rows] == sorted((r["time_s"] for r in rows), reverse=True)


@pytest.mark.slow
def test_losses_are_printed_for_the_best_lap_of_each_recording(laps):
    out = laps("anna.csv", "bert.csv", "--losses").out
    assert out.count("lost time to lap") == 2
    assert "the largest loss first" in out
    assert "lost time to lap" not in laps("anna.csv", "bert.csv").out


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
    track, _, _ = with_gate(block, "pit-exit", Place(chainage_m=60.0, anyway=True))
    write_track(track, tmp_path / "pit.geojson")
    outing = drive(block_circuit(), begin_m=1300.0, laps=2.3, cruise=25.0)
    write_recording(outing.recording(10, doppler=True), tmp_path / "run.csv")

    assert run(["laps", str(tmp_path / "pit.geojson"), str(tmp_path / "run.csv"), "--json"]) == 0

    (recording,) = json.loads(capsys.readouterr().out)["recordings"]
    assert [lap["kind"] for lap in recording["laps"]] == ["out", "pit", "pit", "in"]
    assert recording["best_lap_s"] is None
    assert Path(recording["file"]).name == "run.csv"


@pytest.fixture(scope="module")
def whole_day(folder, outings):
    """The first outing twice in one file, ten minutes of standing between."""
    recording = outings[0].recording
    pause = 600.0
    again = recording.time_s + recording.time_s[-1] + pause
    day = replace(
        recording,
        name="day",
        time_s=np.concatenate([recording.time_s, again]),
        segment=None,
        **{
            name: np.tile(getattr(recording, name), 2)
            for name in ("longitude_deg", "latitude_deg", "speed_mps", "course_deg")
        },
    )
    write_recording(day, folder / "day.csv")
    return "day.csv"


@pytest.mark.slow
def test_a_file_of_two_sessions_has_laps_of_each_and_none_across(laps, whole_day):
    out = laps(whole_day).out

    assert "session 1, 2024-05-04 11:00:" in out
    assert "ended because there were no fixes for 10 min" in out
    assert "session 2, " in out
    assert "ended with the recording" in out
    for name in ("1.1", "1.3", "2.1", "2.3"):
        assert any(line.split()[:2] == [name, "flying"] for line in out.splitlines())
    document = json.loads(laps(whole_day, "--json").out)
    (recording,) = document["recordings"]
    assert [session["ending"] for session in recording["sessions"]] == ["gap", "recording"]
    assert {(lap["session"], lap["number"]) for lap in recording["laps"]} >= {(1, 1), (2, 1)}
    assert max(lap["time_s"] for lap in recording["laps"] if lap["time_s"]) < 120.0
    assert document["reference"]["session"] in (1, 2)


@pytest.mark.slow
def test_a_gap_that_is_allowed_parts_nothing(laps, whole_day):
    out = json.loads(
        laps(whole_day, "--session-gap", "900", "--session-stand", "900", "--json").out
    )

    assert len(out["recordings"][0]["sessions"]) == 1


@pytest.mark.slow
def test_session_and_number_name_the_reference_lap(laps, whole_day):
    document = json.loads(laps(whole_day, "--reference", "2.3", "--json").out)

    assert (document["reference"]["session"], document["reference"]["lap"]) == (2, 3)
    said = laps(whole_day, "--reference", "3", status=1)
    assert "has a lap 3 in several sessions; write one of 1.3, 2.3" in said.err


@pytest.mark.slow
def test_the_csv_tells_session_whether_a_lap_counts_and_why_not(laps, whole_day, tmp_path):
    laps(whole_day, "--within", "100.05", "--csv", str(tmp_path / "day.csv"))

    rows = [row for row in rows_of(tmp_path / "day.csv") if row["part"] == "lap"]
    assert {row["session"] for row in rows} == {"1", "2"}
    slow = [row for row in rows if "slow, 10" in row["remarks"]]
    assert slow
    assert {row["counts"] for row in slow} == {"false"}


@pytest.mark.slow
def test_laps_that_do_not_count_say_so_unless_all_are_asked_for(laps, whole_day):
    out = laps(whole_day, "--within", "100.05").out
    every = laps(whole_day, "--within", "100.05", "--all-laps").out

    assert " does not count: slow, 10" in out
    assert ", of which " in out
    assert "does not count" not in every
    assert "slow, 10" in every


@pytest.mark.slow
def test_a_recording_given_twice_is_counted_once(laps, folder):
    (folder / "copy.csv").write_bytes((folder / "anna.csv").read_bytes())

    said = laps("anna.csv", "copy.csv", "--json")

    assert "copy.csv holds nothing but fixes of anna.csv, and is not counted again" in said.err
    document = json.loads(said.out)
    assert len(document["ranking"]) == 3
    assert document["recordings"][1]["shared"][0]["with"] == "anna.csv"


@pytest.mark.slow
def test_a_single_session_says_why_it_ended_where_it_did_before_the_recording(
    laps, folder, outings
):
    recording = outings[0].recording
    end = np.arange(1.0, 301.0)
    stood = replace(
        recording,
        time_s=np.concatenate([recording.time_s, recording.time_s[-1] + end]),
        **{
            name: np.concatenate([value, np.full(len(end), value[-1] * (name[-3:] == "deg"))])
            for name in ("longitude_deg", "latitude_deg", "speed_mps", "course_deg")
            for value in [getattr(recording, name)]
        },
        segment=None,
    )
    write_recording(stood, folder / "stood.csv", force=True)

    assert "\ndriving ended because the vehicle stood for 5 min\n" in laps("stood.csv").out
    assert "ended" not in laps("anna.csv").out


@pytest.mark.slow
@pytest.mark.parametrize(
    ("labels", "laps_of_all"), [(("Ada", "Bo"), 8), (("Ada", "Ada"), 4), ((), 4)]
)
def test_who_is_labelled_as_two_drove_close_together(laps, folder, outings, labels, laps_of_all):
    recording = outings[0].recording
    beside = replace(recording, latitude_deg=recording.latitude_deg + 5.0 / 111_195.0)
    write_recording(beside, folder / "beside.csv", force=True)
    options = [word for label in labels for word in ("--label", label)]

    printed = laps("anna.csv", "beside.csv", *options, "--json")

    document = json.loads(printed.out)
    alone = json.loads(laps("anna.csv", "--json").out)["summary"][0]["laps_counted"]
    assert document["summary"][-1]["laps_counted"] == laps_of_all * alone // 4
    assert ("by two receivers" in printed.err) == (laps_of_all == 4)
    assert ("as Bo and Ada are named, both count" in printed.err) == (laps_of_all == 8)
