"""README.md, DEVELOPERS.md and docs/ say what is: commands run, output is real, links lead on."""

from __future__ import annotations

import ast
import importlib
import json
import re
import shlex
import sys
from collections.abc import Iterator
from itertools import zip_longest
from pathlib import Path
from types import ModuleType
from typing import get_args

import pytest
from checkout import ROOT
from jsonschema import Draft202012Validator

from trackkit.caution import CAUTION
from trackkit.checks.check import check_track
from trackkit.cli import run
from trackkit.recordings import clean, positions, repeats
from trackkit.recordings.raw import Reason
from trackkit.track.file import read_track, schema

DOCS = ROOT / "docs"
PAGES = sorted([*ROOT.glob("*.md"), *DOCS.glob("*.md")])
WALK_THROUGHS = ("official.md", "driver.md", "analyst.md")
SETUP = """\
python3 -m venv .venv && .venv/bin/pip install . && .venv/bin/trackkit demo
.venv/bin/pip install '.[test]' && .venv/bin/pytest
"""
"""The two commands of issue 2, point 1, which .ci/run takes from the README."""
NUMBER = re.compile(r"(?<![\w.])[-+]?\d[\d,]*(?:\.\d+)?")


def page_text(path: Path) -> str:
    return path.read_text("utf-8")


def blocks(path: Path, kind: str) -> list[str]:
    found = re.findall(rf"^```{kind}\n(.*?)^```$", page_text(path), re.MULTILINE | re.DOTALL)
    return [str(block) for block in found]


@pytest.fixture(scope="module")
def tool() -> Iterator[ModuleType]:
    """docs/make_pictures.py, which runs walk-throughs and is no part of the package."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sys, "path", [str(DOCS), *sys.path])
        yield importlib.import_module("make_pictures")


def agree(shown: str, real: str) -> bool:
    """Say whether two lines have the same words, and numbers that are nearly the same.

    Other versions of a library may round otherwise: a number may differ by two units of its last
    figure or by 0.3 %, an angle in decimal degrees by 2e-5 (2 m).
    """
    words = [re.sub(r"[\s─]+", " ", NUMBER.sub("#", line)).strip() for line in (shown, real)]
    if words[0] != words[1]:
        return False
    return all(map(close, NUMBER.findall(shown), NUMBER.findall(real)))


def close(shown: str, real: str) -> bool:
    one, other = (float(text.replace(",", "")) for text in (shown, real))
    decimals = len(shown.partition(".")[2])
    slack = 2e-5 if decimals >= 5 else max(2.0 * 10.0**-decimals, 0.003 * abs(one))
    return abs(one - other) <= slack * (1 + 1e-9)


@pytest.mark.parametrize("name", WALK_THROUGHS)
def test_every_command_of_a_walk_through_gives_the_output_shown(name, tool):
    shown = page_text(DOCS / name)
    with tool.working_folder():
        real = tool.replayed(shown)
    differing = [
        f"{name}: shows {a!r} but really it is {b!r}"
        for a, b in zip_longest(shown.splitlines(), real.splitlines(), fillvalue="")
        if not agree(a, b)
    ]
    assert not differing, "\n".join([*differing[:8], "docs/make_pictures.py --text mends it"])


def test_every_everyday_command_of_the_readme_runs(tool, capsys):
    lines = "".join(blocks(ROOT / "README.md", "bash")).splitlines()
    commands = [shlex.split(line, comments=True) for line in lines]
    with tool.working_folder():
        statuses = {shlex.join(words): run(words[1:]) for words in commands if words}
    assert len(statuses) > 10
    assert {command: status for command, status in statuses.items() if status != 0} == {}


def test_the_readme_excerpt_of_the_demo_is_what_the_demo_prints(tool, capsys):
    (excerpt,) = blocks(ROOT / "README.md", "text")
    with tool.working_folder():
        assert run(["demo"]) == 0
    said = capsys.readouterr()
    real = [line.rstrip() for line in said.out.splitlines() if line.strip()]
    shown = [line for line in excerpt.splitlines() if line.strip() not in ("", "...")]
    assert len(shown) > 10
    after = 0
    for line in shown:
        found = next((n for n, other in enumerate(real[after:], after) if agree(line, other)), None)
        assert found is not None, f"the demo does not print {line!r} there"
        after = found + 1


def test_the_readme_begins_with_one_paragraph_and_the_two_commands_of_setting_up():
    text = page_text(ROOT / "README.md")
    first, *_ = re.findall(r"^```(\w*)\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)
    assert first == ("sh", SETUP)
    opening = text[: text.index("```")].strip().split("\n\n")
    assert len(opening) == 2, "a title and one paragraph"


def test_the_readme_gives_the_caution_word_for_word():
    assert CAUTION in page_text(ROOT / "README.md")


@pytest.mark.parametrize("page", PAGES, ids=lambda path: path.name)
def test_links_and_pictures_lead_to_something(page):
    for target in re.findall(r"\]\(([^)\s]+)\)", page_text(page).replace("]\n(", "](")):
        if target.startswith(("https://", "http://")):
            continue
        path, _, anchor = target.partition("#")
        linked = (page.parent / path).resolve() if path else page
        assert linked.is_file(), f"{page.name} links to {target}, which is not there"
        if anchor:
            assert anchor in anchors(linked), f"{page.name} links to {target}: no such heading"


def anchors(page: Path) -> set[str]:
    """Names of a page's headings, as code hosts make them: lower case, hyphens for spaces."""
    headings = re.findall(r"^#+ (.+)$", page_text(page), re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-") for heading in headings}


def test_every_picture_is_shown_somewhere_and_small(tool):
    shown = "".join(page_text(page) for page in PAGES)
    pictures = sorted((DOCS / "pictures").iterdir())
    assert [p.name for p in pictures] == sorted(p.file for p in tool.PICTURES)
    for picture in pictures:
        assert f"pictures/{picture.name}" in shown
        assert picture.stat().st_size <= tool.LARGEST_BYTES


def test_the_track_file_page_has_a_whole_valid_file_without_findings(tmp_path):
    (example,) = blocks(DOCS / "track-file.md", "json")
    assert list(Draft202012Validator(schema()).iter_errors(json.loads(example))) == []
    path = tmp_path / "example.geojson"
    path.write_text(example, "utf-8")
    assert check_track(read_track(path)) == []


def named(node: object) -> Iterator[str]:
    """Every member a schema names, at any depth."""
    if isinstance(node, list):
        for value in node:
            yield from named(value)
    if isinstance(node, dict):
        for key, value in node.items():
            if key == "properties":
                yield from value
            below = value.values() if key in ("properties", "$defs") else [value]
            for one in below:
                yield from named(one)


def test_the_track_file_page_tells_every_member_the_schema_knows():
    text = page_text(DOCS / "track-file.md")
    missing = {member for member in named(schema()) if not re.search(rf'[`"]{member}[`"]', text)}
    # GeoJSON's own; RFC 7946 tells them.
    assert missing - {"geometry", "coordinates", "properties"} == set()


def test_the_methods_page_lists_every_rule_of_check_and_no_other():
    files = (ROOT / "trackkit" / "checks").glob("*.py")
    trees = [ast.parse(file.read_text("utf-8")) for file in files]
    said = set()
    calls = (node for tree in trees for node in ast.walk(tree) if isinstance(node, ast.Call))
    for call in calls:
        words = [one.value for one in call.args if isinstance(one, ast.Constant)]
        severities = [n for n, word in enumerate(words) if word in ("error", "warning", "note")]
        if isinstance(call.func, ast.Name) and call.func.id.lower().endswith("finding"):
            said |= {(words[n + 1], words[n]) for n in severities}
    text = page_text(DOCS / "methods.md")
    table = text[text.index("## Checks") : text.index("## Which circuit")]
    rows = re.findall(r"^\| `([\w-]+)` \| (\w+) \|", table, re.MULTILINE)
    assert len(said) > 10
    assert set(rows) == said


def rules_for_fixes():
    text = page_text(DOCS / "methods.md")
    return text[text.index("| counted as |") : text.index("## The smoothed drive")]


def reasons_in_code():
    """The reasons that readers and `clean` give for what they leave out."""
    for file in (ROOT / "trackkit" / "recordings").rglob("*.py"):
        for call in ast.walk(ast.parse(file.read_text("utf-8"))):
            if isinstance(call, ast.Call) and isinstance(call.func, ast.Name):
                words = [one.value for one in call.args if isinstance(one, ast.Constant)]
                if call.func.id in ("Dropped", "_drop") and words:
                    yield words[0]


def test_the_methods_page_lists_every_reason_to_remove_a_fix_in_order_and_no_other():
    rows = re.findall(r"^\| `([\w, ]+)` \| ", rules_for_fixes(), re.MULTILINE)
    assert rows == list(get_args(Reason))
    assert sorted(reasons_in_code()) == sorted(rows)


def test_the_methods_page_gives_the_numbers_by_which_fixes_are_removed():
    rules = " ".join(rules_for_fixes().split())
    for words in (
        f"within {positions.NULL_WITHIN_DEG:.4f}° of 0° north 0° east",
        f"more than one in {1 / clean.BACKWARDS_SHARE:.0f}".replace("10", "ten"),
        f"at most {clean.LONGEST_JUMP} fixes",
        f"more than {clean.REACH_M:.0f} m and {clean.REACH_MPS:.0f} m/s",
        f"above {repeats.MOVING_MPS:.0f} m/s",
        f"diagonal, {repeats.COARSEST_M:.0f} m at most",
        f"longer than {clean.GAP_S:.0f} s and longer than {clean.GAP_INTERVALS:.0f} times",
        f"below 0 or above {clean.REACH_MPS:.0f} m/s",
        f"not between 0 and {clean.UNKNOWN_HDOP:.0f}",
    ):
        assert words in rules
