"""One table of limits: raised knowingly, told in docs/methods.md, held at the doors."""

from dataclasses import fields
from pathlib import Path

import pytest
from checkout import ROOT

from trackkit.budgets import Budgets, budgets, raised, require
from trackkit.cli import run
from trackkit.errors import RecordingError, TrackkitError

TRACK = ROOT / "tracks" / "pipwick-kart-circuit.geojson"


def test_a_limit_is_raised_only_inside():
    with raised({"gates": 7}):
        assert budgets().gates == 7
    assert budgets() == Budgets()


@pytest.mark.parametrize("limits", [{"gate": 7}, {"gates": 0}])
def test_what_is_no_limit_is_refused(limits):
    with (
        pytest.raises(TrackkitError, match=r"is no limit; the limits are unpacked_bytes, "),
        raised(limits),
    ):
        pass


def test_as_much_as_the_limit_is_taken_on():
    require("fixes", Budgets().fixes, RecordingError, "holds")


def test_more_than_the_limit_is_refused_with_the_amount_and_what_to_do():
    with pytest.raises(RecordingError) as refused:
        require("fixes", 4_000_001, RecordingError, "holds", file="day.csv", remedy="split it")
    assert str(refused.value) == (
        "day.csv: holds 4,000,001 fixes, more than the 4,000,000 that trackkit takes on; "
        "split it, or raise the limit"
    )
    assert refused.value.remedy.value == {"limit": "fixes", "most": 4_000_001}


def test_the_command_line_lowers_and_raises_limits(capsys):
    assert run(["--limits", "gates=1", "describe", str(TRACK)]) == 1
    assert "trackkit --limits gates=" in capsys.readouterr().err
    assert run(["--limits", "gates=50,vertices=5000", "describe", str(TRACK)]) == 0


@pytest.mark.parametrize("limits", ["gates", "gates=many", "gates=-1"])
def test_limits_that_are_no_numbers_are_the_command_lines_fault(limits, capsys):
    assert run(["--limits", limits, "describe", str(TRACK)]) == 2
    assert "is not NAME=NUMBER" in capsys.readouterr().err


def test_the_methods_tell_every_limit():
    text = Path(ROOT / "docs" / "methods.md").read_text("utf-8")
    for limit in fields(Budgets):
        assert (
            f"| {limit.name} | {limit.default:,} {limit.metadata['unit']} "
            f"| {limit.metadata['why']} |" in text
        )
