"""README.md, DEVELOPERS.md and docs/ say what is: links lead on, tables are whole."""

from __future__ import annotations

import ast
import importlib
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import get_args

import pytest
from checkout import ROOT
from doc_pages import DOCS, blocks, page_text
from jsonschema import Draft202012Validator

from trackkit.caution import CAUTION
from trackkit.checks.check import check_track
from trackkit.recordings import clean, positions, repeats
from trackkit.recordings.raw import Reason
from trackkit.schemas.read import schema_names
from trackkit.track.file import read_track, schema

PAGES = sorted([*ROOT.glob("*.md"), *DOCS.glob("*.md")])
SETUP = """\
python3 -m venv .venv && .venv/bin/pip install . && .venv/bin/trackkit demo
.venv/bin/pip install '.[test]' && .venv/bin/pytest
"""
"""The two commands of setting up, which .ci/run takes from the README."""


@pytest.mark.slow
def test_the_python_of_the_readme_runs_and_prints_its_laps(tool, capsys):
    code = "\n".join(blocks(ROOT / "README.md", "python"))
    with tool.working_folder():
        exec(compile(code, "README.md", "exec"), {})
    printed = capsys.readouterr().out.splitlines()
    assert [line.partition(":")[0] for line in printed] == ["lap 1", "lap 2", "lap 3"]


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


def words_of(node):
    """The text that an expression is: of a choice, that of the one and of the other."""
    if isinstance(node, ast.IfExp):
        return [*words_of(node.body), *words_of(node.orelse)]
    return [node.value] if isinstance(node, ast.Constant) else []


def test_the_methods_page_lists_every_rule_of_check_and_no_other():
    files = (ROOT / "trackkit" / "checks").glob("*.py")
    trees = [ast.parse(file.read_text("utf-8")) for file in files]
    said = set()
    calls = (node for tree in trees for node in ast.walk(tree) if isinstance(node, ast.Call))
    for call in calls:
        given = {one.arg: words_of(one.value) for one in call.keywords}
        if isinstance(call.func, ast.Name) and call.func.id.lower().endswith("finding"):
            said |= set(zip(given.get("rule", ()), given.get("severity", ()), strict=True))
    text = page_text(DOCS / "methods.md")
    table = text[text.index("## Checks") : text.index("## Which circuit")]
    rows = re.findall(r"^\| `([\w-]+)` \| (error|warning|note) \|", table, re.MULTILINE)
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
    assert sorted(set(reasons_in_code())) == sorted(rows)


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


def test_tuned_constants_are_those_of_the_code():
    text = page_text(DOCS / "methods.md").partition("## Tuned constants")[2].partition("\n## ")[0]
    rows = re.findall(r"^\| ([a-z_/]+)\.py \| (.+?) \| (.+?) \| (.+?) \|$", text, flags=re.M)

    assert len(rows) > 40
    for module, names, values, reason in rows:
        code = importlib.import_module("trackkit." + module.replace("/", "."))
        told = [float(value) for value in values.split(", ")]
        assert [getattr(code, name) for name in re.findall(r"`(\w+)`", names)] == told, names
        assert len(reason) > 30


def test_the_json_page_lists_every_command_that_has_a_schema():
    rows = re.findall(r"^\| `([\w -]+)` \|", page_text(DOCS / "json.md"), re.MULTILINE)
    assert rows == list(schema_names())
