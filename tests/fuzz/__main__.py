"""Run the campaign: ``python -m tests.fuzz --minutes 60``."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from .campaign import campaign
from .cases import case, run_case
from .worker import main as work


def main() -> int:
    """Parse the command line and run."""
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.add_argument("--minutes", type=float, default=1.0, help="how long [1]")
    parser.add_argument("--inputs", type=int, help="at most so many inputs [as time allows]")
    parser.add_argument("--seed", type=int, default=1, help="another makes other inputs [1]")
    parser.add_argument("--jobs", type=int, default=1, help="processes at once [1]")
    parser.add_argument("--first", type=int, default=0, help="number of the first input [0]")
    parser.add_argument("--case", type=int, help="run this one input here, and show what comes")
    parser.add_argument(
        "--keep",
        type=Path,
        default=Path("fuzz-faults"),
        metavar="FOLDER",
        help="where the smallest input of each kind of fault goes [fuzz-faults]",
    )
    parser.add_argument("--worker", action="store_true", help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.worker:
        work(given.seed)
        return 0
    if given.case is not None:
        chosen = case(given.seed, given.case)
        print(f"{chosen.document.kind}, {chosen.way}: {chosen.document.story}")
        result = run_case(chosen)
        print(result.fault.key + "\n" + result.fault.what if result.fault else result)
        return 1 if result.fault else 0
    tally = campaign(given.seed, given.minutes, given.jobs, given.first, given.inputs, given.keep)
    print("\n".join(tally.lines()))
    if tally.faults:
        print(f"the smallest input of each is in {given.keep}")
    return 1 if tally.faults else 0


sys.exit(main())
