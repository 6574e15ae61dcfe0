"""Commands that are run in this process, and what they print."""

from __future__ import annotations

import json

import pytest

from trackkit.cli import run

SENTENCE_START = "trackkit: "


def json_of(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> dict:
    """Run a command with --json: one document on standard output and nothing else."""
    capsys.readouterr()
    assert run([*arguments, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def refused(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> str:
    """Run a command that cannot be done: status 1, nothing on stdout, one sentence on stderr."""
    capsys.readouterr()
    assert run(arguments) == 1
    said = capsys.readouterr()
    assert said.out == ""
    lines = [line for line in said.err.splitlines() if line.startswith(SENTENCE_START)]
    assert len(lines) == 1
    return lines[0]
