"""One input of a campaign: made from two numbers, run within limits, and judged."""

from __future__ import annotations

import os
import re
import shutil
import tempfile
import time
import traceback
from dataclasses import dataclass
from pathlib import Path
from random import Random

from . import large, odd, targets
from .documents import Document
from .limits import MOST_BYTES, TooSlow, forget_peak, limited_time, peak_bytes
from .mutate import mutated
from .seeds import seeds

ROOT = Path(__file__).parents[2]
_LARGE, _ODD, _ODD_AND_DAMAGED = 0.01, 0.30, 0.25
"""Shares of inputs: large ones, odd ones, and of those the ones damaged besides."""
_LIBRARY, _APART = 0.80, 0.01
"""Shares of inputs given to the library, and to commands in processes of their own."""


@dataclass(frozen=True)
class Case:
    """An input and what it is given to.

    Parameters
    ----------
    seed, number
        What it is made from.
    document
        The file.
    way
        "library", "here" or "apart".
    """

    seed: int
    number: int
    document: Document
    way: str

    def choices(self) -> Random:
        """Return what chooses the rest, the same for every run and every smaller document."""
        return Random(f"{self.seed}/{self.number}/use")


@dataclass(frozen=True)
class Fault:
    """What went wrong.

    Parameters
    ----------
    key
        Its class: the kind of fault, and where in trackkit.
    what
        All there is to say about it.
    """

    key: str
    what: str


@dataclass(frozen=True)
class Result:
    """How a case ended."""

    reached: str
    fault: Fault | None
    seconds: float
    peak_bytes: int


def case(seed: int, number: int) -> Case:
    """Make one input of a campaign."""
    rng = Random(f"{seed}/{number}")
    share = rng.random()
    if share < _LARGE:
        document = rng.choice(large.LARGE)(rng)
    elif share < _LARGE + _ODD:
        document = rng.choice(odd.SMALL)(rng)
        if rng.random() < _ODD_AND_DAMAGED:
            document = mutated(document, rng)
    else:
        document = mutated(rng.choice(seeds()), rng)
    way = rng.random()
    return Case(
        seed,
        number,
        document,
        "library" if way < _LIBRARY else "apart" if way < _LIBRARY + _APART else "here",
    )


def run_case(input_case: Case, document: Document | None = None) -> Result:
    """Run a case in a folder of its own; with another document, that in its place."""
    document = document or input_case.document
    folder = Path(tempfile.mkdtemp(prefix="fuzz-"))
    before = Path.cwd()
    held = forget_peak()
    began = time.process_time()
    reached, fault, peak = "", None, 0
    try:
        path = targets.lay_out(folder, document)
        os.chdir(folder)
        with limited_time():
            reached, peak = _used(input_case, document, path)
    except TooSlow as error:
        fault = Fault(f"too slow in {_place(error)}", _traceback(error))
    except MemoryError as error:
        fault = Fault(f"out of memory in {_place(error)}", _traceback(error))
    except targets.BlemishError as error:
        fault = Fault(
            f"blemish: {str(error).partition(':')[0][:40]} {_fault_in(str(error))}", str(error)
        )
    except Exception as error:  # noqa: BLE001 - every other exception is what is looked for
        fault = Fault(f"{type(error).__name__} in {_place(error)}", _traceback(error))
    finally:
        os.chdir(before)
        shutil.rmtree(folder, ignore_errors=True)
    peak = max(peak, peak_bytes() - held)
    if fault is None and peak > MOST_BYTES:
        fault = Fault(f"too large: {document.kind}", f"{peak / (1 << 20):,.0f} MiB in use")
    return Result(reached, fault, time.process_time() - began, peak)


def _used(input_case: Case, document: Document, path: Path) -> tuple[str, int]:
    if input_case.way == "library":
        return targets.use_library(document, path, input_case.choices()), 0
    words = targets.command_for(document, input_case.choices())
    peak = 0
    if input_case.way == "here":
        outcome = targets.run_here(words, document)
    else:
        outcome, peak = targets.run_apart(words, document, path.parent)
    try:
        targets.judge(outcome, words)
    except ValueError as error:
        raise targets.BlemishError(f"no JSON: {error}: {outcome.printed[:300]!r}") from error
    return f"exit {outcome.status}", peak


def _fault_in(text: str) -> str:
    """Name what the door of the command line named, without the line, which moves."""
    match = re.search(r"a fault of trackkit, not of yours: ([^;]+?)(?:, line \d+)?;", text)
    return match[1] if match else ""


def _place(error: BaseException) -> str:
    """Name the innermost line of trackkit that an exception went through."""
    inside = [
        frame
        for frame in traceback.extract_tb(error.__traceback__)
        if f"{os.sep}trackkit{os.sep}" in frame.filename and "site-packages" not in frame.filename
    ]
    if not inside:
        return "none of trackkit's files"
    last = inside[-1]
    name = last.filename.rpartition(f"{os.sep}trackkit{os.sep}")[2]
    return f"{name}:{last.name}"


def _traceback(error: BaseException) -> str:
    return "".join(traceback.format_exception(error))
