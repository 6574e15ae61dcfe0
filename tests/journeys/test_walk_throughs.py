"""Every command that README.md and docs/ show gives the output shown."""

from __future__ import annotations

import re
import shlex
from itertools import zip_longest

import pytest
from checkout import ROOT
from doc_pages import DOCS, blocks, page_text

from trackkit.cli import run

NUMBER = re.compile(r"(?<![\w.])[-+]?\d[\d,]*(?:\.\d+)?")
LETTERS = re.compile(r"(?<=geometry )[a-z]{8}\b")
"""Of a line that was built, they follow its last decimals."""


def agree(shown: str, real: str) -> bool:
    """Say whether two lines have the same words, and numbers that are nearly the same.

    Other versions of a library may round otherwise: a number may differ by two units of its last
    figure or by 0.3 %, an angle in decimal degrees by 2e-5 (2 m).
    """
    words = [_words(line) for line in (shown, real)]
    if words[0] != words[1]:
        return False
    return all(map(close, NUMBER.findall(shown), NUMBER.findall(real)))


def _words(line: str) -> str:
    return re.sub(r"[\s─]+", " ", LETTERS.sub("#", NUMBER.sub("#", line))).strip()


def close(shown: str, real: str) -> bool:
    one, other = (float(text.replace(",", "")) for text in (shown, real))
    decimals = len(shown.partition(".")[2])
    slack = 2e-5 if decimals >= 5 else max(2.0 * 10.0**-decimals, 0.003 * abs(one))
    return abs(one - other) <= slack * (1 + 1e-9)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["official.md", "driver.md", "analyst.md", "gallery.md"])
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


@pytest.mark.slow
def test_every_everyday_command_of_the_readme_runs(tool, capsys):
    lines = "".join(blocks(ROOT / "README.md", "bash")).splitlines()
    commands = [shlex.split(line, comments=True) for line in lines]
    with tool.working_folder():
        statuses = {shlex.join(words): run(words[1:]) for words in commands if words}
    assert len(statuses) > 10
    assert {command: status for command, status in statuses.items() if status != 0} == {}


@pytest.mark.slow
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
