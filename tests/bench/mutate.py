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
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import xml.etree.ElementTree as ET
from dataclasses import asdict, dataclass
from pathlib import Path

from cosmic_ray.mutating import mutate_code
from cosmic_ray.plugins import get_operator
from parso import parse

ROOT = Path(__file__).resolve().parents[2]
ROOMS = ("geometry", "motion", "building", "timing", "gates", "official", "checks", "library")
# Slow to import and never changed: loaded once, and shared by the process of every change.
LIBRARIES = (
    *("numpy", "scipy.interpolate", "scipy.optimize", "scipy.sparse.linalg", "scipy.spatial"),
    *("scipy.stats", "pandas", "geopandas", "shapely", "pyproj", "lxml.etree", "jsonschema"),
    "pytest",
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
    """Where annotations and decorators stand: a change there alters no result."""
    spans = []
    for node in ast.walk(ast.parse(source)):
        parts = [getattr(node, name, None) for name in ("annotation", "returns")]
        spans += [
            ((part.lineno, part.col_offset), (part.end_lineno, part.end_col_offset))
            for part in (*parts, *getattr(node, "decorator_list", ()))
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
    while len(drawn) < count:
        changes = of_file[order[len(drawn) % len(order)]]
        kind = source.choice(sorted({change.kind for change in changes}))
        # A place that can be changed in many ways is no likelier than one that can in one.
        line = source.choice(sorted({change.line for change in changes if change.kind == kind}))
        change = source.choice([c for c in changes if c.kind == kind and c.line == line])
        if change not in drawn:
            drawn.append(change)
    return drawn


def tests_of(file: str) -> tuple[list[str], list[str]]:
    """Test files of a file's room: those that name or import it, and the rest; short ones first."""
    room, name = Path(file).parts[1], Path(file).stem
    words = (f"trackkit.{room}.{name} ", f"trackkit.{room} import {name}")
    near, rest = [], []
    for test in sorted((ROOT / "tests" / room).glob("test_*.py"), key=lambda t: t.stat().st_size):
        named = test.stem == f"test_{name}" or test.stem.startswith(f"test_{name}_")
        is_near = named or any(word in test.read_text() for word in words)
        (near if is_near else rest).append(str(test.relative_to(ROOT)))
    return near, rest


def run_tests(tree: Path, tests: list[str], limit_s: float, *more: str) -> bool:
    """Whether the tests pass in a process of their own; not, if they take too long."""
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
            pytest = importlib.import_module("pytest")
            status = pytest.main(
                ["-x", "-q", "-n0", "-p", "no:cacheprovider", "--no-header", *more, *tests]
            )
            os._exit(int(status))
        finally:
            os._exit(99)
    began = time.monotonic()
    while time.monotonic() - began < limit_s:
        ended, status = os.waitpid(child, os.WNOHANG)
        if ended:
            return os.waitstatus_to_exitcode(status) == 0
        time.sleep(0.05)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return False


def times_s(tree: Path, room: str) -> dict[str, float]:
    """How long each test file of a room takes on the unchanged code, which all must pass."""
    tests = [str(test.relative_to(ROOT)) for test in (ROOT / "tests" / room).glob("test_*.py")]
    report = tree / f"{room}.xml"
    if not run_tests(tree, tests, 1800.0, f"--junitxml={report}", "-o", "junit_family=xunit1"):
        sys.exit(f"tests/{room} fails before anything is changed")
    taken_s = dict.fromkeys(tests, 0.0)
    for case in ET.parse(report).iter("testcase"):
        taken_s[case.attrib["file"]] += float(case.attrib["time"])
    return taken_s


def is_noticed(tree: Path, file: str, taken_s: dict[str, float]) -> bool:
    """Whether a test of the room fails, or takes five times as long as it should."""
    for tests in tests_of(file):
        limit_s = 20.0 + 5.0 * sum(taken_s[test] for test in tests)
        if tests and not run_tests(tree, tests, limit_s):
            return True
    return False


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
    sys.dont_write_bytecode = True
    os.environ["PYTHONDONTWRITEBYTECODE"] = "1"
    for name in LIBRARIES:
        importlib.import_module(name)
    with tempfile.TemporaryDirectory() as folder:
        tree = Path(folder)
        copy_tree(tree)
        for room in options.rooms or ROOMS:
            noticed = 0
            taken_s = times_s(tree, room)
            for change in sample(room, options.count, options.seed):
                source = (tree / change.file).read_text()
                changed = mutate_code(
                    source.encode(), get_operator(f"core/{change.operator}")(), change.occurrence
                )
                (tree / change.file).write_text(changed)
                passed = not is_noticed(tree, change.file, taken_s)
                (tree / change.file).write_text(source)
                noticed += not passed
                lines = difflib.unified_diff(source.split("\n"), changed.split("\n"), n=0)
                difference = [line for line in lines if line[:3] not in ("---", "+++", "@@ ")]
                if passed:
                    print(f"{change.file}:{change.line}", *difference, sep="\n", flush=True)
                if options.list:
                    row = asdict(change) | {"passed": passed, "difference": difference}
                    with options.list.open("a") as out:
                        out.write(json.dumps(row) + "\n")
            print(f"{room}: {noticed} of {options.count} noticed", flush=True)


if __name__ == "__main__":
    main()
