"""The verdict: fit to hand on or not, why not, and what to do next."""

from dataclasses import replace

import driven_block
import pytest
from checkout import recording_of_a_real_receiver
from driven_block import moved
from drives import gate_ends
from good_lines import good_lines

from trackkit.building.build import build_track
from trackkit.checks.check import check_track
from trackkit.checks.findings import accept_finding
from trackkit.checks.verdict import judge_track, stored_verdict
from trackkit.gates.edit import move_gate
from trackkit.recordings.read import read_recording
from trackkit.track.accuracy import AccuracyRow
from trackkit.track.digest import geometry_digest, short_digest
from trackkit.track.facts import set_fact
from trackkit.track.file import read_track, stored, write_track
from trackkit.track.places import Place


def known(track, *rows):
    """The track with an accuracy profile."""
    profile = tuple(AccuracyRow(*row) for row in rows)
    return replace(track, centreline=replace(track.centreline, accuracy_profile=profile))


@pytest.fixture(scope="module")
def block():
    return known(driven_block.block(), (0.0, 0.6, "measured"))


def judged(track, **more):
    return judge_track(track, check_track(track), **more)


def test_a_clean_track_of_a_well_known_line_is_fit(block):
    judgement = judged(block, recorded=True)

    assert (judgement.fit, judgement.verdict.reasons) == (True, ())
    assert judgement.next_step is None
    assert judgement.remarks == ()


@pytest.mark.parametrize(("sigma_m", "fit"), [(1.5, True), (1.51, False)])
def test_the_line_must_be_known_to_a_metre_and_a_half_at_every_gate(block, sigma_m, fit):
    # The second gate lies at 800 m.
    track = known(
        block,
        (0.0, 0.6, "measured"),
        (799.0, 0.6, "measured"),
        (799.9, sigma_m, "measured"),
        (800.1, sigma_m, "measured"),
        (801.0, 0.6, "measured"),
    )

    judgement = judged(track, recorded=True)

    assert judgement.fit is fit
    assert any("Gate-B" in reason for reason in judgement.verdict.reasons) is not fit


def test_a_vague_line_asks_for_as_many_laps_as_bring_it_under_the_limit(block):
    # One sigma falls with the root of the number of laps: of four laps at 3.0 m, to half with 16.
    track = replace(known(block, (0.0, 3.0, "measured")), sources=({"file": "a", "laps": 4},))

    judgement = judged(track, recorded=True)

    assert not judgement.fit
    assert judgement.next_step.do == "build revise"
    assert judgement.next_step.what.startswith("drive 12 more laps")
    assert "survey the ends of the finish line" in judgement.next_step.what


@pytest.mark.parametrize(("carried_m", "fit"), [(68.0, True), (71.0, False)])
def test_at_most_a_twentieth_of_the_line_may_be_carried(block, carried_m, fit):
    # A twentieth of 1,388.5 m is 69.4 m.
    track = known(
        block,
        (0.0, 0.6, "measured"),
        (500.0, 1.0, "carried"),
        (500.0 + carried_m, 0.6, "measured"),
    )

    judgement = judged(track, recorded=True)

    assert judgement.fit is fit
    assert bool(judgement.verdict.reasons) is not fit
    assert all("without fixes" in reason for reason in judgement.verdict.reasons)


def test_no_gate_may_lie_where_the_line_was_carried_across(block):
    track = known(
        block,
        (0.0, 0.6, "measured"),
        (780.0, 1.0, "carried"),
        (820.0, 0.6, "measured"),
    )

    judgement = judged(track, recorded=True)

    assert judgement.verdict.reasons == ("gate Gate-B lies on a stretch without fixes",)


def test_an_error_and_a_warning_make_it_unfit_until_the_warning_is_accepted(block):
    left, _ = gate_ends(driven_block.ROAD, 347.0, 8.0)
    _, right = gate_ends(driven_block.ROAD, 356.0, 8.0)
    track = moved(block, "gate-a", left=left, right=right)
    findings = check_track(track)
    warnings = {f.rule for f in findings if f.severity == "warning"}
    assert warnings
    assert not any(f.severity == "error" for f in findings)

    judgement = judge_track(track, findings, recorded=True)
    assert not judgement.fit
    assert judgement.verdict.reasons[0].startswith("1 warning" if len(warnings) == 1 else "2 warn")
    assert judgement.next_step == next(f for f in findings if f.severity == "warning").remedy

    accepted = track
    for finding in findings:
        if finding.severity == "warning":
            accepted = accept_finding(
                accepted, check_track(accepted), finding.rule, finding.feature, reason="as it is"
            )
    assert judged(accepted, recorded=True).fit


def test_the_first_thing_to_do_is_about_an_error(block):
    broken = replace(known(block, (0.0, 9.0, "measured")), gates=())

    judgement = judged(broken, recorded=True)

    assert judgement.verdict.reasons[0] == "1 error: gate-missing"
    assert judgement.next_step.do == "gate place"


def test_a_driven_line_whose_file_does_not_say_how_good_it_is_is_not_fit():
    judgement = judged(driven_block.block(), recorded=True)

    assert judgement.verdict.reasons == (
        "how good each metre of the line is, the file does not say",
    )
    assert judgement.next_step.do == "build revise"


def test_a_drawn_line_is_fit_once_somebody_has_said_what_a_survey_showed():
    drawn = known(replace(driven_block.block(), line="centre"), (0.0, 3.0, "drawn"))

    judgement = judged(drawn)
    assert not judgement.fit
    assert (judgement.next_step.do, judgement.next_step.value) == ("set", {"accuracy_m": "METRES"})

    surveyed = set_fact(drawn, "accuracy_m", "0.4").track
    assert judged(surveyed).fit
    assert surveyed.centreline.accuracy_at(700.0)[0] == 0.4


def test_a_line_that_no_recording_confirmed_says_so(block):
    judgement = judged(block)

    assert judgement.fit
    assert judgement.remarks == ("no recording has confirmed the line since it was changed",)
    assert judgement.next_step.do == "check recording"


def test_a_line_built_of_recordings_is_confirmed_until_it_is_changed():
    track = build_track([driven_block.recording()], "Invented").track
    judgement = judged(stored(track), recorded=True)
    kept = stored(replace(track, verdict=judgement.verdict))

    assert judged(kept).remarks == ()
    # A finish gate that moves leaves the line where it is on the ground.
    turned = move_gate(kept, kept.finish.id, Place(chainage_m=200.0)).track
    assert judged(stored(turned)).remarks == ()
    line = kept.centreline
    latitude_deg = line.latitude_deg.copy()
    latitude_deg[40:50] += 2e-6
    edited = replace(kept, centreline=replace(line, latitude_deg=latitude_deg))
    assert judged(edited).remarks != ()


def test_a_stored_verdict_counts_while_the_geometry_is_the_one_that_was_judged(block, tmp_path):
    kept = replace(block, verdict=judged(stored(block), recorded=True).verdict)
    written = write_track(kept, tmp_path / "block.geojson")

    assert stored_verdict(read_track(tmp_path / "block.geojson")) == written.verdict
    left, right = gate_ends(driven_block.ROAD, 348.0, 8.0)
    assert stored_verdict(moved(written, "gate-a", left=left, right=right)) is None


def test_the_digest_is_of_positions_and_of_nothing_else(block, tmp_path):
    digest = geometry_digest(block)
    renamed = replace(block, name="Another", notes="Changed.", id="another")
    (gate, *_) = block.gates
    east, north = gate.left

    assert geometry_digest(renamed) == digest
    assert geometry_digest(write_track(block, tmp_path / "block.geojson")) == digest
    assert geometry_digest(moved(block, gate.id, left=(east, north + 1e-8))) != digest
    assert len(short_digest(block)) == 8
    assert short_digest(block).isalpha()


def test_the_digest_does_not_depend_on_how_longitudes_are_counted():
    (path,) = [name for name, _ in good_lines() if name == "saltpenny-atoll-clockwise"]
    track = dict(good_lines())[path]()
    line = track.centreline
    turned = replace(track, centreline=replace(line, longitude_deg=line.longitude_deg + 360.0))

    assert geometry_digest(turned) == geometry_digest(track)


def test_a_sparse_loop_of_a_real_receiver_is_not_fit_to_hand_on():
    recording = read_recording(recording_of_a_real_receiver("village-loop-by-car.gpx"))

    track = stored(build_track([recording], "Loop").track)

    judgement = judged(track, recorded=True)
    assert not judgement.fit
    assert "gate Finish" in judgement.verdict.reasons[0]
