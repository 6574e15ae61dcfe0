"""What the project cites is in the project, or published."""

from __future__ import annotations

import re
import subprocess

import pytest
from checkout import ROOT

ELSEWHERE = re.compile(r"\b(?:[D]ESIGN|[L]AYOUT)\.md\b|\b[i]ssues? #?\d+\b|/[w]ork/")
"""Plans and lists that whoever has the project has not; in brackets, lest it finds itself."""


def tracked() -> list[str]:
    listed = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    if listed.returncode:
        pytest.skip("this copy of the project is no clone: git lists no files")
    return [name for name in listed.stdout.split("\0") if name]


def test_nothing_cites_what_is_not_in_the_project() -> None:
    names = tracked()
    assert len(names) > 200
    cited = []
    for name in names:
        path = ROOT / name
        # What the campaign of odd files keeps is no text of ours, and may be no text at all.
        if path.suffix == ".png" or "corpus" in path.parts or not path.is_file():
            continue
        cited += [
            f"{name}:{number}: {found[0]}"
            for number, line in enumerate(path.read_text("utf-8").splitlines(), start=1)
            if (found := ELSEWHERE.search(line))
        ]
    assert cited == []


def test_what_the_search_is_for_is_found() -> None:
    parts = (("see DE", "SIGN.md, section 3"), ("LAY", "OUT.md"), ("is", "sue 2"), ("/wo", "rk/a"))
    for text in map("".join, parts):
        assert ELSEWHERE.search(text)
    assert not ELSEWHERE.search("a design of 2 issues and layouts at work")
