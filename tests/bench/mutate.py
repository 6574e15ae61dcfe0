"""Change the code at random, one small change at a time, and see whether the tests notice.

By hand, not in CI: DEVELOPERS.md says how. The tree is copied first, and only the copy is changed.
"""

import argparse
import ast
import compileall
import difflib
import importlib
import json
import os
import py_compile
import random
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
from dataclasses import asdict, dataclass
from pathlib import Path

import hypothesis
from cosmic_ray.mutating import mutate_code
from cosmic_ray.plugins import get_operator
from parso import parse

ROOT = Path(__file__).resolve().parents[2]
# Seconds of processor time: of a test, of the tests near a changed file, of the rest of its room;
# and of the clock, for tests that only wait.
TEST_S, NEAR_S, REST_S, WAIT_S = 60.0, 300, 60, 1800
# What pytest ends with where no test has the mark.
NO_TESTS = 5
ROOMS = ("geometry", "motion", "building", "timing", "gates", "official", "checks", "library")
# Slow to import and never changed: loaded once, and shared by the process of every change.
LIBRARIES = (
    *("numpy", "scipy.interpolate", "scipy.optimize", "scipy.sparse.linalg", "scipy.spatial"),
    *("scipy.stats", "pandas", "geopandas", "shapely", "pyproj", "lxml.etree", "jsonschema"),
    *("pytest", "hypothesis.strategies"),
)
# To what each is changed: those only that do not simply stop on the first array of floats.
COMPARISONS = (
    *("Lt_LtE", "Lt_Gt", "LtE_Lt", "LtE_GtE", "Gt_GtE", "Gt_Lt", "GtE_Gt", "GtE_LtE"),
    *("Eq_NotEq", "NotEq_Eq"),
)
BINARY = (
    *("Add_Sub", "Sub_Add", "Mul_Div", "Mul_Add", "Div_Mul", "Pow_Mul", "FloorDiv_Div"),
    *("Mod_Add", "BitAnd_BitOr", "BitOr_BitAnd"),
)
OPERATORS = {
    "comparison": [f"ReplaceComparisonOperator_{pair}" for pair in COMPARISONS],
    "operator": [
        *(f"ReplaceBinaryOperator_{pair}" for pair in BINARY),
        "ReplaceAndWithOr",
        "ReplaceOrWithAnd",
        "AddNot",
        "ReplaceUnaryOperator_USub_UAdd",
    ],
    "constant": ["NumberReplacer", "ReplaceTrueWithFalse", "ReplaceFalseWithTrue"],
}


@dataclass(frozen=True)
class Change:
    """A small change of a file, as Cosmic Ray finds it."""

    file: str
    line: int
    kind: str
    operator: str
    occurrence: int


# A star in front of arguments or values is no multiplication.
STARRED = ("parameters", "param", "typedargslist", "star_expr", "argument")


def _without_result(source: str) -> list[tuple[tuple[int, int], tuple[int, int]]]:
    """Where a change alters no result: annotations, decorators, and `zip` told to be strict."""
    spans = []
    for node in ast.walk(ast.parse(source)):
        parts = [getattr(node, name, None) for name in ("annotation", "returns")]
        parts += getattr(node, "decorator_list", ())
        parts += [word for word in getattr(node, "keywords", ()) if word.arg == "strict"]
        spans += [
            ((part.lineno, part.col_offset), (part.end_lineno, part.end_col_offset))
            for part in parts
            if part is not None
        ]
    return spans


def changes_of(path: Path) -> list[Change]:
    """All changes that there are of a file."""
    source = path.read_text()
    spans = _without_result(source)
    tree = parse(source)
    nodes = []
    stack = [tree]
    while stack:
        node = stack.pop()
        nodes.append(node)
        stack.extend(reversed(getattr(node, "children", [])))
    changes = []
    for kind, names in OPERATORS.items():
        for name in names:
            operator = get_operator(f"core/{name}")()
            occurrence = -1
            for node in nodes:
                for start, end in operator.mutation_positions(node):
                    occurrence += 1
                    starred = node.type == "operator" and node.parent.type in STARRED
                    if not starred and not any(a <= start and end <= b for a, b in spans):
                        file = str(path.relative_to(ROOT))
                        changes.append(Change(file, start[0], kind, name, occurrence))
    return changes


def sample(room: str, count: int, seed: int) -> list[Change]:
    """Changes drawn at random, spread over the files of a room and over the kinds of change."""
    source = random.Random(f"{room} {seed}")
    files = sorted((ROOT / "trackkit" / room).glob("*.py"))
    of_file = {file: changes for file in files if (changes := changes_of(file))}
    order = list(of_file)
    source.shuffle(order)
    drawn: list[Change] = []
    while len(drawn) < count and any(of_file.values()):
        changes = of_file[order[0]]
        order = [*order[1:], order[0]]
        if not changes:
            continue
        kind = source.choice(sorted({change.kind for change in changes}))
        # A place that can be changed in many ways is no likelier than one that can in one.
        line = source.choice(sorted({change.line for change in changes if change.kind == kind}))
        change = source.choice([c for c in changes if c.kind == kind and c.line == line])
        changes.remove(change)
        drawn.append(change)
    return drawn


def tests_of(file: str) -> tuple[list[str], list[str]]:
    """Test files named for a file or importing it, and the rest of its room; short ones first.

    Of a file that no test of its own room names those of other rooms count that import it.
    """
    room, name = Path(file).parts[1], Path(file).stem
    words = (f"trackkit.{room}.{name} ", f"trackkit.{room} import {name}")
    near, rest, elsewhere = [], [], []
    for test in sorted((ROOT / "tests").glob("*/test_*.py"), key=lambda t: t.stat().st_size):
        own, path = test.parent.name == room, str(test.relative_to(ROOT))
        named = own and (test.stem == f"test_{name}" or test.stem.startswith(f"test_{name}_"))
        if named or any(word in test.read_text() for word in words):
            (near if own else elsewhere).append(path)
        elif own:
            rest.append(path)
    return near or elsewhere, rest


class Watch:
    """Ends a process whose test goes on for ever, and writes down which test failed."""

    def __init__(self, report: Path) -> None:
        self.report = report

    def pytest_runtest_logstart(self, nodeid: str) -> None:
        """Ask for the signal that ends a process, in processor time, which others do not take."""
        self.report.write_text(nodeid)
        signal.setitimer(signal.ITIMER_PROF, TEST_S)

    def pytest_sessionfinish(self, exitstatus: int) -> None:
        """Keep the last test that began only where it failed."""
        if exitstatus == 0:
            self.report.write_text("")


def noticed_by(tree: Path, tests: list[str], limit_s: int, marked: str) -> str | None:
    """The first test that fails in a process of their own; none before its processor time ends."""
    report = tree / "noticed"
    report.write_text("")
    child = os.fork()
    if child == 0:
        try:
            os.setsid()
            os.chdir(tree)
            sys.path.insert(0, str(tree))
            os.environ["PYTHONPATH"] = str(tree)
            nowhere = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nowhere, 1)
            os.dup2(nowhere, 2)
            signal.alarm(WAIT_S)
            resource.setrlimit(resource.RLIMIT_CPU, (limit_s, limit_s + 5))
            # A first counterexample is enough: it need not be made small.
            phases = (hypothesis.Phase.explicit, hypothesis.Phase.generate)
            hypothesis.settings.register_profile("first", deadline=None, phases=phases)
            pytest = importlib.import_module("pytest")
            plain = ["-x", "-q", "-n0", "-m", marked, "-p", "no:cacheprovider", "-p", "no:nbmake"]
            plain += ["-W", "ignore::pytest.PytestAssertRewriteWarning"]
            status = pytest.main(
                [*plain, "--hypothesis-profile=first", *tests], plugins=[Watch(report)]
            )
            os._exit(int(status))
        finally:
            os._exit(99)
    status = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    if status in (0, NO_TESTS, -signal.SIGXCPU):
        return None
    return report.read_text() or "the import"


def first_notice(tree: Path, file: str) -> str | None:
    """The test of a file's room that notices that it was changed, if one does."""
    near, rest = tests_of(file)
    for tests, limit_s, marked in (
        (near, NEAR_S, "not slow"),
        (near, NEAR_S, "slow"),
        (rest, REST_S, "not slow"),
    ):
        if tests and (noticed := noticed_by(tree, tests, limit_s, marked)):
            return noticed
    return None


def copy_tree(tree: Path) -> None:
    """Copy the files of the clone, with bytecode that is compared by content, not by time."""
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT,
        check=True,
        capture_output=True,
        text=True,
    )
    for name in filter(None, listed.stdout.split("\0")):
        target = tree / name
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy2(ROOT / name, target)
    mode = py_compile.PycInvalidationMode.CHECKED_HASH
    compileall.compile_dir(tree / "trackkit", quiet=1, invalidation_mode=mode)


def main() -> None:
    """Draw changes, run the tests on each, print what passed unnoticed and the score by room."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("rooms", nargs="*", help="rooms to change; all eight if none is named")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--count", type=int, default=13, help="changes a room")
    parser.add_argument("--list", type=Path, help="file to add each result to, as a line of JSON")
    options = parser.parse_args()
    for name in LIBRARIES:
        importlib.import_module(name)
    with tempfile.TemporaryDirectory() as folder:
        tree = Path(folder)
        copy_tree(tree)
        for room in options.rooms or ROOMS:
            noticed = 0
            for change in sample(room, options.count, options.seed):
                source = (tree / change.file).read_text()
                changed = mutate_code(
                    source.encode(), get_operator(f"core/{change.operator}")(), change.occurrence
                )
                (tree / change.file).write_text(changed)
                noticing = first_notice(tree, change.file)
                (tree / change.file).write_text(source)
                noticed += noticing is not None
                lines = difflib.unified_diff(source.split("\n"), changed.split("\n"), n=0)
                difference = [line for line in lines if line[:3] not in ("---", "+++", "@@ ")]
                if noticing is None:
                    print(f"{change.file}:{change.line}", *difference, sep="\n", flush=True)
                if options.list:
                    row = asdict(change) | {"noticed_by": noticing, "difference": difference}
                    with options.list.open("a") as out:
                        out.write(json.dumps(row) + "\n")
            print(f"{room}: {noticed} of {options.count} noticed", flush=True)


if __name__ == "__main__":
    main()
