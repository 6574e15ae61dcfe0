"""Run cases until the time is over, and keep the smallest input of each kind of fault."""

from __future__ import annotations

import json
import os
import select
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from dataclasses import dataclass, field
from itertools import count
from pathlib import Path
from typing import Any

from .cases import ROOT, case
from .limits import MOST_WAITED_SECONDS
from .worker import SHRINK_SECONDS

CASES_OF_A_WORKER = 1500
"""Then a new one begins, so that what one leaves in memory does not add up."""
_SHRUNK_OF_A_CLASS = 2
_PATIENCE_S = MOST_WAITED_SECONDS + 30.0


@dataclass
class FaultClass:
    """A class of faults: how often, and the smallest input that shows it."""

    times: int = 0
    number: int = -1
    what: str = ""
    data: bytes = b""
    shrinks: int = 0


@dataclass
class Tally:
    """What a campaign has come to."""

    seed: int
    cases: int = 0
    reached: Counter[str] = field(default_factory=Counter)
    most_seconds: tuple[float, int] = (0.0, -1)
    most_bytes: tuple[int, int] = (0, -1)
    faults: dict[str, FaultClass] = field(default_factory=dict)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def lines(self) -> list[str]:
        """Say it."""
        faults = sum(fault.times for fault in self.faults.values())
        seconds, slowest = self.most_seconds
        most, largest = self.most_bytes
        return [
            f"seed {self.seed}: {self.cases:,} inputs",
            f"{faults:,} faults in {len(self.faults)} classes",
            ", ".join(f"{name} {times:,}" for name, times in sorted(self.reached.items())),
            f"slowest: {seconds:.1f} s (case {slowest})",
            f"largest: {most / (1 << 20):,.0f} MiB (case {largest})",
            *(
                f"{fault.times:6,} x {key} (case {fault.number}, {len(fault.data):,} bytes)"
                for key, fault in sorted(self.faults.items(), key=lambda item: -item[1].times)
            ),
        ]


class _Worker:
    """A process that runs cases, begun anew when it has ended."""

    def __init__(self, seed: int) -> None:
        self.seed = seed
        self.done = 0
        self.process: subprocess.Popen[str] | None = None
        self.errors = tempfile.TemporaryFile("w+")  # noqa: SIM115 - closed by `end`

    def ask(self, patience_s: float, **request: Any) -> dict[str, Any]:
        """Ask for one thing; what becomes of the process is told like any other fault."""
        if self.process is None or self.done >= CASES_OF_A_WORKER:
            self.end()
            self._begin()
        assert self.process is not None
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.done += 1
        self.process.stdin.write(json.dumps(request) + "\n")
        self.process.stdin.flush()
        ready, _, _ = select.select([self.process.stdout], [], [], patience_s)
        answer = self.process.stdout.readline() if ready else ""
        if answer:
            return dict(json.loads(answer))
        key = "died" if ready else "hangs"
        self.end()
        self.errors.seek(0)
        return {"fault": {"key": f"the process {key}", "what": self.errors.read()[-4000:]}}

    def _begin(self) -> None:
        self.errors.seek(0)
        self.errors.truncate()
        self.done = 0
        environment = os.environ | {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
        self.process = subprocess.Popen(
            [sys.executable, "-m", "tests.fuzz", "--worker", "--seed", str(self.seed)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self.errors,
            text=True,
            cwd=ROOT,
            env=environment,
        )

    def end(self) -> None:
        """Stop the process."""
        if self.process is not None:
            self.process.kill()
            self.process.communicate()
            self.process = None


def campaign(
    seed: int, minutes: float, jobs: int, first: int, inputs: int | None, keep: Path
) -> Tally:
    """Run cases, from `first` on, until the time is over or there were so many."""
    tally = Tally(seed)
    numbers = count(first) if inputs is None else iter(range(first, first + inputs))
    until = time.monotonic() + 60.0 * minutes

    def work() -> None:
        worker = _Worker(seed)
        try:
            while time.monotonic() < until:
                with tally.lock:
                    number = next(numbers, None)
                if number is None:
                    break
                answer = worker.ask(_PATIENCE_S, number=number)
                _note(tally, number, answer)
                if answer.get("fault"):
                    # What a fault leaves in memory is not the next input's.
                    worker.end()
                    _keep(tally, worker, number, answer["fault"], keep, until)
        finally:
            worker.end()

    threads = [threading.Thread(target=work) for _ in range(jobs)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return tally


def _note(tally: Tally, number: int, answer: dict[str, Any]) -> None:
    with tally.lock:
        tally.cases += 1
        if answer.get("fault"):
            faults = tally.faults.setdefault(answer["fault"]["key"], FaultClass())
            faults.times += 1
        else:
            tally.reached[answer["reached"]] += 1
            tally.most_seconds = max(tally.most_seconds, (answer["seconds"], number))
            tally.most_bytes = max(tally.most_bytes, (answer["peak_bytes"], number))


def _keep(
    tally: Tally, worker: _Worker, number: int, fault: dict[str, str], folder: Path, until: float
) -> None:
    """Keep the smallest input of a class, and how it can be run again."""
    key = fault["key"]
    faults = tally.faults[key]
    input_case = case(tally.seed, number)
    data = input_case.document.data
    if faults.shrinks < _SHRUNK_OF_A_CLASS and time.monotonic() < until:
        faults.shrinks += 1
        answer = worker.ask(SHRINK_SECONDS + _PATIENCE_S, number=number, shrink=key)
        data = bytes.fromhex(answer["data"]) if "data" in answer else data
        worker.end()
    with tally.lock:
        if faults.number >= 0 and len(data) >= len(faults.data):
            return
        faults.number, faults.what, faults.data = number, fault["what"], data
        name = "".join(c if c.isalnum() else "-" for c in key)[:80]
        folder.mkdir(parents=True, exist_ok=True)
        (folder / f"{name}.{input_case.document.name}").write_bytes(data)
        again = f"python -m tests.fuzz --seed {tally.seed} --case {number}"
        (folder / f"{name}.txt").write_text(
            f"{key}\n{input_case.document.story}\n{again}\n\n{faults.what}\n", "utf-8"
        )
