"""The process that runs cases: a number in, a line about it out."""

from __future__ import annotations

import faulthandler
import json
import os
import sys
import tempfile
from dataclasses import asdict
from pathlib import Path

from .cases import Case, case, run_case
from .limits import limit_memory
from .shrink import shrunk

SHRINK_SECONDS = 40.0


def main(seed: int) -> None:
    """Answer on standard output for each number on standard input, until that ends."""
    answers = os.fdopen(os.dup(1), "w", encoding="utf-8")
    # Whatever else is printed, by libraries in C too, goes to standard error: a file of the master.
    os.dup2(2, 1)
    faulthandler.enable()
    limit_memory()
    _stay_at_home()
    for line in sys.stdin:
        request = json.loads(line)
        input_case = case(seed, request["number"])
        if "shrink" in request:
            answer = {"data": _shrunk(input_case, request["shrink"]).hex()}
        else:
            answer = asdict(run_case(input_case))
        answers.write(json.dumps(answer) + "\n")
        answers.flush()


def _stay_at_home() -> None:
    """Let no run touch the library, the cache or the settings of whoever runs the campaign."""
    home = Path(tempfile.mkdtemp(prefix="fuzz-home-"))
    for name in ("HOME", "XDG_DATA_HOME", "XDG_CACHE_HOME", "XDG_CONFIG_HOME", "XDG_STATE_HOME"):
        os.environ[name] = os.fspath(home)
    os.environ.pop("TRACKKIT_LIBRARY", None)
    os.environ["COLUMNS"] = "100"


def _shrunk(input_case: Case, key: str) -> bytes:
    def fails(data: bytes) -> bool:
        fault = run_case(input_case, input_case.document.changed(data, "made smaller")).fault
        return fault is not None and fault.key == key

    return shrunk(input_case.document.data, fails, SHRINK_SECONDS)
