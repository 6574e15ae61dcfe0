"""Documents of pages against their schemas, and what Python and the page's scripts both know."""

from __future__ import annotations

import base64
import json
from collections.abc import Mapping
from typing import Any

import jsonschema
import numpy as np
import pytest
from checkout import ROOT, TRACKS
from page_documents import FOLDER, page_documents

from trackkit.checks.evaluate import evaluate, prepare
from trackkit.editor.session import Editing
from trackkit.errors import PlaceError
from trackkit.gates.edit import gate_name, widen_gate
from trackkit.pages.base import base_document
from trackkit.pages.state import state
from trackkit.simulation.simulate import simulate_drive
from trackkit.track.features import GATE_KINDS
from trackkit.track.file import read_track
from trackkit.track.model import Track

WEB = ROOT / "trackkit" / "pages" / "web"
SAMPLES = sorted(path.stem for path in TRACKS.glob("*.geojson"))


def schema(name: str) -> jsonschema.Draft202012Validator:
    document = json.loads((WEB / f"{name}.schema.json").read_text("utf-8"))
    jsonschema.Draft202012Validator.check_schema(document)
    return jsonschema.Draft202012Validator(document)


def faults(name: str, document: Any) -> list[str]:
    # As the page reads it: what JSON makes of it, tuples and all.
    read = json.loads(json.dumps(document, allow_nan=False))
    return [error.message for error in schema(name).iter_errors(read)]


def sample(name: str) -> Track:
    return read_track(TRACKS / f"{name}.geojson")


@pytest.fixture(scope="module")
def fresh() -> dict[str, Any]:
    return page_documents()


@pytest.mark.slow
@pytest.mark.parametrize("name", SAMPLES)
def test_documents_of_every_sample_are_what_the_schemas_say(name: str) -> None:
    track = sample(name)
    prepared = prepare(track, [])
    assert faults("base", base_document(track, [], evaluate(track, prepared).quality)) == []
    assert faults("base", base_document(track)) == []
    assert faults("state", state(track, prepared)) == []


def test_documents_with_laps_and_findings_are_what_the_schemas_say(fresh) -> None:
    assert fresh["base"]["laps"]
    assert fresh["base"]["recordings"]
    assert fresh["state"]["findings"]
    assert faults("base", fresh["base"]) == []
    assert faults("state", fresh["state"]) == []


@pytest.mark.slow
def test_state_under_a_drag_and_after_undo_is_what_the_schema_says() -> None:
    track = sample("pipwick-kart-circuit")
    recording = simulate_drive(track, laps=2, rate_hz=2.0, seed=3).recording
    editing = Editing(track, prepare(track, [recording]))
    gate = track.gates_of_kind("sector")[0].id
    editing.apply({"do": "move", "gate": gate, "to_m": 280.0, "merge": "drag-1", "light": True})
    assert faults("state", editing.state(gate)) == []
    editing.apply({"do": "undo"})
    assert editing.state()["redo_what"]
    assert faults("state", editing.state()) == []


def test_a_base_document_with_another_member_or_without_one_is_refused(fresh) -> None:
    without = {name: value for name, value in fresh["base"].items() if name != "limits"}
    assert faults("base", without)
    assert faults("base", fresh["base"] | {"limit": 3})
    assert faults("state", fresh["state"] | {"datum_m": None})


def test_limits_of_the_page_are_where_the_server_begins_to_refuse(fresh) -> None:
    track = sample("pipwick-kart-circuit")
    limits = fresh["base"]["limits"]
    least, most = limits["gate_width_m"]
    gate = track.gates_of_kind("sector")[0].id
    for width in (least, most):
        assert widen_gate(track, gate, width).gate.width_m == pytest.approx(width, abs=1e-3)
    for width in (least - 0.01, most + 0.01):
        with pytest.raises(PlaceError, match=r"not sensible|not wider than 60 m"):
            widen_gate(track, gate, width)
    longest = limits["gate_name_length"]
    assert gate_name("a" * longest) == "a" * longest
    with pytest.raises(PlaceError, match="characters"):
        gate_name("a" * (longest + 1))


@pytest.mark.parametrize(
    ("name", "required", "offered"),
    [
        ("pipwick-kart-circuit", ["finish"], [kind for kind in GATE_KINDS if kind != "start"]),
        ("orrinback-hill", ["finish", "start"], list(GATE_KINDS)),
    ],
)
def test_kinds_of_gate_are_all_named_and_say_what_the_track_needs(
    name: str, required: list[str], offered: list[str]
) -> None:
    kinds = base_document(sample(name))["gate_kinds"]
    assert [row["kind"] for row in kinds] == list(GATE_KINDS)
    assert sorted(row["kind"] for row in kinds if row["required"]) == required
    assert [row["kind"] for row in kinds if row["offered"]] == offered
    assert all(row["name"] == row["kind"].replace("-", " ") for row in kinds)


@pytest.mark.parametrize("name", ["base", "state", "answers"])
def test_documents_that_the_scripts_are_tested_with_are_those_of_today(fresh, name: str) -> None:
    """If not, run tests/shared/page_documents.py, and the scripts' own tests (`npm test`)."""
    kept = json.loads((FOLDER / f"{name}.json").read_text("utf-8"))
    assert_alike(kept, json.loads(json.dumps(fresh[name])), name)


def assert_alike(kept: Any, now: Any, where: str) -> None:
    """Same members, and numbers as near as other versions of a library bring them."""
    if isinstance(kept, Mapping):
        assert set(kept) == set(now), where
        if "data" in kept:
            assert kept["count"] == now["count"], where
            assert unpacked(now) == pytest.approx(
                unpacked(kept), rel=0, abs=3 * kept["scale"], nan_ok=True
            ), where
            return
        for key, value in kept.items():
            assert_alike(value, now[key], f"{where}.{key}")
    elif isinstance(kept, list):
        assert len(kept) == len(now), where
        for n, (one, other) in enumerate(zip(kept, now, strict=True)):
            assert_alike(one, other, f"{where}[{n}]")
    elif isinstance(kept, float) and isinstance(now, float):
        # A file's last decimal of a degree is about 1 mm; times are those of a smoothed drive.
        degrees = any(name in where for name in ("square_ends", "left[", "right[", "at["))
        assert now == pytest.approx(kept, rel=0, abs=1e-8 if degrees else 2e-5), where
    else:
        assert kept == now, where


def unpacked(packed: Mapping[str, Any]) -> np.ndarray:
    kind, missing = {"u16": ("<u2", 65535), "i32": ("<i4", -(2**31))}[packed["type"]]
    steps = np.frombuffer(base64.b64decode(packed["data"]), dtype=kind).astype(float)
    return np.where(steps == missing, np.nan, packed["zero"] + packed["scale"] * steps)
