"""What the project cites is in the project, or published."""

from __future__ import annotations

import re
import subprocess

import pytest
from checkout import ROOT

ELSEWHERE = re.compile(r"\b(?:DE" r"SIGN|LAY" r"OUT)\.md\b|\bissues? #?\d+\b|/wo" r"rk/|\btickets? #?\d")
"""Plans and lists that whoever has the project has not; written apart, lest it finds itself."""


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
        if path.suffix == ".png" or not path.is_file():
            continue
        cited += [
            f"{name}:{number}: {found[0]}"
            for number, line in enumerate(path.read_text("utf-8").splitlines(), start=1)
            if (found := ELSEWHERE.search(line))
        ]
    assert cited == []


def test_what_the_search_is_for_is_found() -> None:
    for text in ("see DE" "SIGN.md, section 3", "as in iss" "ue 2", "LAY" "OUT.md", "/wo" "rk/a"):
        assert ELSEWHERE.search(text)
    assert not ELSEWHERE.search("a design of 2 issues and layouts at work")
