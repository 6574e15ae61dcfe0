"""Thirty and more kinds of damage to a track file, each found by the rule that is meant to."""

import json
import shlex

import driven_block
import pytest
from seeded_faults import CLEAN, FAULTS, TRACK, B, block, document, put

from trackkit.checks.check import check_file
from trackkit.cli import run
from trackkit.recordings.write import write_recording


def found_in(made, tmp_path):
    path = tmp_path / "damaged.geojson"
    path.write_text(json.dumps(made), "utf-8")
    return check_file(path)[1]


def test_there_are_thirty_kinds_of_damage():
    assert len({what for what, *_ in FAULTS}) == len(FAULTS) >= 30


@pytest.mark.parametrize("name", CLEAN)
def test_the_track_before_the_damage_is_clean(name, tmp_path):
    assert found_in(CLEAN[name](), tmp_path) == []


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "damage", "rule", "about"), [row[1:] for row in FAULTS], ids=[row[0] for row in FAULTS]
)
def test_damage_is_found_by_the_right_rule_at_the_right_feature(
    name, damage, rule, about, tmp_path
):
    made = TRACK[name]()
    damage(made)
    findings = found_in(made, tmp_path)

    right = [f for f in findings if f.rule == rule and about in (..., f.feature)]
    assert right, [(f.rule, f.feature) for f in findings]
    assert all(f.message and f.remedy.what for f in findings)


def told(capsys, *words):
    """What `check --json` says of a file."""
    run(["check", *map(str, words), "--json"])
    return json.loads(capsys.readouterr().out)["findings"]


def pasted(remedy, capsys, recording):
    """Run the command that a remedy ends with, as it stands but for the words of a person."""
    typed = remedy[remedy.index("trackkit ") :].replace(" TEXT", " 'as it should be'")
    typed = typed.replace(" RECORDING", f" {shlex.quote(str(recording))}")
    assert run(shlex.split(typed)[1:]) == 0, typed
    return capsys.readouterr().out


EDITS = ("gate move", "gate place", "gate remove", "accept", "set", "build revise")
DONE_BY_A_COMMAND = {
    "kink",
    "gate-missing",
    "gate-twice",
    "gate-off-track",
    "gate-chainage",
    "gate-backwards",
    "gate-not-square",
    "gate-narrow",
    "gate-missed",
    "gate-crosses-other-track",
    "gate-end-near-other-track",
    "gate-false",
    "gate-false-often",
    "gate-order",
    "gate-apex",
    "gate-braking",
    "finish-slow",
    "gates-close",
    "sector-short",
    "pit-bypass",
    "gate-on-bridge",
    "datum",
    "length",
    "direction",
    "corner-place",
}


@pytest.mark.slow
@pytest.mark.parametrize("fault", FAULTS, ids=[row[0] for row in FAULTS])
@pytest.mark.parametrize("surveyed", [False, True], ids=["", "surveyed"])
def test_a_command_pasted_from_a_remedy_does_away_with_the_finding(
    fault, surveyed, tmp_path, capsys
):
    _, name, damage, rule, about = fault
    made = TRACK[name]()
    damage(made)
    for one in made["features"]:
        if isinstance(one, dict) and one["properties"]["role"] == "gate":
            one["properties"]["surveyed"] = surveyed
    path = tmp_path / "a track's file.geojson"
    path.write_text(json.dumps(made), "utf-8")
    before = told(capsys, path)
    finding = next(f for f in before if f["rule"] == rule and about in (..., f["feature"]))

    assert ("trackkit " in finding["remedy"]) == (rule in DONE_BY_A_COMMAND)
    if rule not in DONE_BY_A_COMMAND:
        assert finding["action"] is None
        return
    write_recording(driven_block.recording(), tmp_path / "day.csv")
    said = pasted(finding["remedy"], capsys, tmp_path / "day.csv")
    if finding["action"]["do"] == "gate suggest":
        assert "sector 1 ends at" in said
        return
    assert finding["action"]["do"] in EDITS
    after = {(f["rule"], f["feature"]) for f in told(capsys, path) if not f["accepted"]}
    assert (rule, finding["feature"]) not in after
    assert after <= {(f["rule"], f["feature"]) for f in before}


def test_gates_of_two_layouts_that_look_alike_on_shared_tarmac(tmp_path, capsys):
    first, second = document(block()), document(block())
    second["track"].update(id="other", layout="Other")
    put(second, "gate-a", B, 355.0)
    for name, made in (("first", first), ("second", second)):
        (tmp_path / f"{name}.geojson").write_text(json.dumps(made), "utf-8")

    assert run(["check", str(tmp_path / "first.geojson"), "--json"]) == 0
    (finding,) = json.loads(capsys.readouterr().out)["findings"]
    assert (finding["rule"], finding["feature"]) == ("gate-disagrees", "gate-a")
    assert "8.0 m from gate" in finding["message"]

    pasted(finding["remedy"], capsys, tmp_path / "none.csv")
    assert told(capsys, tmp_path / "first.geojson") == []
