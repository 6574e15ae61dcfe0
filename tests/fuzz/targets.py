"""What inputs are given to: parts of the library, and whole commands, here or in a new process."""

from __future__ import annotations

import contextlib
import io
import json
import os
import re
import resource
import shlex
import subprocess
import sys
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING

from trackkit.errors import TrackkitError

from .documents import Document, Kind
from .limits import MOST_SECONDS, limit_memory
from .seeds import HOME, home_recording, seeds_of, track

if TYPE_CHECKING:
    from trackkit.timing.report import LapReport

LONGEST_SENTENCE = 400
FASTEST_MPS = 150.0
"""As fast as the readers believe a car to be (docs/methods.md, reading recordings)."""
_CONTROLS = re.compile(r"[\x00-\x09\x0b-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff]")
_FAULTY = re.compile(
    r"Traceback \(most recent call last\)|\w+Warning: |a fault of trackkit, not of yours: [^;]+"
)
"""What nobody should see: Python's own words, and the door's for what was not foreseen."""


class BlemishError(Exception):
    """Trackkit did not crash, but it did something that it must never do."""


@dataclass(frozen=True)
class Outcome:
    """How a command ended: its exit status and all that it said."""

    status: int
    remarks: str
    printed: str


def judge_sentence(error: TrackkitError) -> None:
    """Require of an error what every error promises: one line, short enough, naming its file."""
    text = str(error)
    if not text.strip() or len(text) > LONGEST_SENTENCE:
        raise BlemishError(f"a sentence of {len(text)} characters: {text[:200]!r}")
    if odd := _CONTROLS.search(text):
        raise BlemishError(f"a sentence with {odd[0]!r} in it: {text!r}")


@contextlib.contextmanager
def strict_warnings() -> Iterator[None]:
    """Turn warnings into errors: on a command line they are words that nobody wrote for users."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        warnings.filterwarnings("ignore", category=DeprecationWarning)
        warnings.filterwarnings("ignore", category=ResourceWarning)
        yield


def use_library(document: Document, path: Path, rng: Random) -> str:
    """Give a file to the readers, and what they make of it to what comes after them."""
    use = {
        "recording": _recording,
        "line": _line,
        "drawing": _drawing,
        "track": _track,
        "official": _official,
    }
    with strict_warnings():
        return use[document.kind](path, rng)


def _quietly(work: Callable[[], object]) -> bool:
    """Do something that may be refused, but only with a sentence."""
    try:
        work()
    except TrackkitError as error:
        judge_sentence(error)
        return False
    return True


def _recording(path: Path, rng: Random) -> str:
    from trackkit.building.build import build_track
    from trackkit.geometry.geodesy import LocalPlane
    from trackkit.motion.smooth import smooth
    from trackkit.recordings.read import read_recording
    from trackkit.timing.lap_times import time_laps

    try:
        recording = read_recording(path)
    except TrackkitError as error:
        judge_sentence(error)
        return "refused"
    share = rng.random()
    if share < 0.4:
        return "read"
    if share < 0.75:
        plane = LocalPlane.around(recording.longitude_deg, recording.latitude_deg)
        return "smoothed" if _quietly(lambda: smooth(recording, plane)) else "read"
    if share < 0.85:
        is_open = rng.random() < 0.3
        built = _quietly(lambda: build_track([recording], "Sea", is_open=is_open))
        return "built" if built else "read"
    return "timed" if _quietly(lambda: _time(time_laps(track(HOME), recording))) else "read"


def _time(report: LapReport) -> None:
    """Require of lap times that something on wheels could have driven them."""
    for lap in report.laps:
        if lap.complete and lap.time_s and track(HOME).length_m / lap.time_s > FASTEST_MPS:
            raise BlemishError(
                f"impossible: a lap of {track(HOME).length_m:.0f} m in {lap.time_s:g} s"
            )


def _line(path: Path, rng: Random) -> str:
    from trackkit.building.from_line import build_from_line
    from trackkit.recordings.drawn_lines import read_line

    try:
        line = read_line(path, crs=rng.choice((None, None, None, "EPSG:25832")))
    except TrackkitError as error:
        judge_sentence(error)
        return "refused"
    built = _quietly(
        lambda: build_from_line(
            line.longitude_deg,
            line.latitude_deg,
            "Sea",
            is_open=rng.random() < 0.3,
            elevation_m=line.elevation_m,
        )
    )
    return "built" if built else "read"


def _drawing(path: Path, rng: Random) -> str:
    from trackkit.importing.import_track import import_track
    from trackkit.track.file import track_text

    onto = track(HOME) if rng.random() < 0.6 else None
    crs = rng.choice((None, None, None, "EPSG:32644"))
    try:
        imported = import_track(path, onto=onto, crs=crs)
    except TrackkitError as error:
        judge_sentence(error)
        return "refused"
    # What was made of it must be a track file, remarks included that a terminal can print.
    if odd := _CONTROLS.search("".join(imported.remarks)):
        raise BlemishError(f"a remark with {odd[0]!r} in it: {imported.remarks}")
    track_text(imported.track)
    return "imported"


def _track(path: Path, rng: Random) -> str:
    from trackkit.checks.check import check_file
    from trackkit.track.file import read_track, track_text

    from .editor import edit_on_page

    share = rng.random()
    if share < 0.35:
        return "checked" if _quietly(lambda: check_file(path)) else "refused"
    if share < 0.45:
        recording = path.with_name("home.csv") if rng.random() < 0.2 else None
        return "edited" if _quietly(lambda: edit_on_page(path, recording, rng)) else "refused"
    try:
        read = read_track(path, validate=rng.random() < 0.5)
    except TrackkitError as error:
        judge_sentence(error)
        return "refused"
    _quietly(lambda: track_text(read))
    return "read"


def _official(path: Path, rng: Random) -> str:
    from trackkit.official.pairing import pair_official
    from trackkit.official.times import read_official

    try:
        times = read_official(path)
    except TrackkitError as error:
        judge_sentence(error)
        return "refused"
    _quietly(lambda: json.dumps(pair_official(times, _home_report()).as_row(), allow_nan=False))
    return "paired"


_reports: list[LapReport] = []


def _home_report() -> LapReport:
    from trackkit.simulation.simulate import simulate_drive
    from trackkit.timing.lap_times import time_laps

    if not _reports:
        _reports.append(
            time_laps(track(HOME), simulate_drive(track(HOME), laps=2, rate_hz=1.0).recording)
        )
    return _reports[0]


_COMMANDS: dict[Kind, tuple[str, ...]] = {
    "recording": (
        "build {file} --name Sea -o out.geojson",
        "build {file} --name Sea -o out.geojson --sectors 3 --json",
        "build {file} {recording} --name Sea -o out.geojson --json",
        "build {file} --name Sea --open -o out.geojson --json",
        "build {file} --name Sea -o out.geojson --explain out.html --pit-gates",
        "build --revise {track} {file} --json",
        "build --left {file} --right {recording} --name Sea -o out.geojson",
        "laps {track} {file}",
        "laps {track} {file} --json",
        "laps {track} {file} {recording} --details --csv out.csv --traces traces.csv",
        "laps {track} {recording} {file} --json --official {official}",
        "laps {track} {file} --summary s.csv --all-laps --session-stand 5 --session-gap 3",
        "laps {file} --json",
        "laps {track} . --skipped --json",
        "set {track} pit-lane {file} --json",
        "locate {file}",
        "locate {file} {recording} --json",
        "locate {file} {recording} --csv",
        "locate -",
        "locate - --json",
        "check {track} --recording {file} --json",
        "gate list {track} {file} --json",
        "gate suggest {track} {file} --sectors 3 --json",
        "gate align {track} {file} --official {official} --json",
        "gate place {track} sector --ends {file},{recording} --json",
        "map {track} {file} -o out.html",
        "map {file} -o out.html",
        "map {track} {file} -o out.svg",
    ),
    "line": (
        "build --from-line {file} --name Sea -o out.geojson",
        "build --from-line {file} --name Sea -o out.geojson --json --sectors 4",
        "build --from-line {file} --name Sea -o out.geojson --open",
        "build --from-line {file} --name Sea -o out.geojson --crs EPSG:25832",
        "locate {file} --json",
        "laps {track} {file}",
    ),
    "drawing": (
        "import {file} -o out.geojson",
        "import {file} -o out.geojson --json",
        "import {file} -o out.geojson --crs EPSG:32644",
        "import {file} --onto {track} -o out.geojson",
        "import {file} --onto {track} --yes",
        "import {file} --onto {track} --crs EPSG:32644 --yes --json",
        "import {file} -o out.geojson --layer centreline=drawing --field name=kind",
        "import . -o out.geojson",
        "build --from-line {file} --name Sea -o out.geojson",
        "build --from-line {file} --name Sea -o out.geojson --crs EPSG:32644",
    ),
    "track": (
        "describe {file}",
        "describe {file} --json",
        "gate list {file}",
        "gate list {file} {recording} --json",
        "gate place {file} sector 412m --json",
        "gate place {file} speed 47.1,11.2",
        "gate move {file} finish 20m",
        "gate remove {file} finish",
        "gate suggest {file} --sectors 4 --by corners --apply",
        "gate suggest {file} {recording} --sectors 3 --by length --json",
        "check {file}",
        "check {file} --json",
        "check {file} --recording {recording} --json",
        "check {file} --accept width finish --reason because",
        "reverse {file} -o out.geojson --json",
        "diff {file} {track}",
        "diff {track} {file} --json",
        "laps {file} {recording} --json",
        "locate --library . 47.0 11.0 --json",
        "locate --library . {recording} --json",
        "library list --library . --json",
        "library add {file} --library known --json",
        "map {file} -o out.html",
        "map {file} {recording} -o out.svg",
        "map {file} -o out.pdf",
        "export {file} --to geojson -o out.geojson",
        "export {file} --to gpx -o out.gpx",
        "export {file} --to kml -o out.kml",
        "export {file} --to gpkg -o out.gpkg",
        "export {file} --to csv -o out.csv",
        "simulate {file} -o out.csv --laps 1 --rate 1",
        "build --revise {file} {recording}",
        "laps {file} {recording} --details",
    ),
    "official": (
        "laps {track} {recording} --official {file} --json",
        "laps {track} {recording} --official {file}",
        "gate align {track} {recording} --official {file} --json",
    ),
}


def command_for(document: Document, rng: Random) -> list[str]:
    """Choose a command that a file of this kind could be given to, now and then one of another."""
    kind = document.kind if rng.random() < 0.95 else rng.choice(list(_COMMANDS))
    return named(rng.choice(_COMMANDS[kind]), document)


def commands_of(kind: Kind) -> tuple[str, ...]:
    """List the commands that files of a kind are given to."""
    return _COMMANDS[kind]


def named(command: str, document: Document) -> list[str]:
    """Put the names of files, as `lay_out` writes them, into a command."""
    words = shlex.split(command)
    # A shell would hand the name on as one word, whatever is in it.
    names = {
        "file": document.name,
        "track": "home.geojson",
        "recording": "home.csv",
        "official": "home-official.csv",
    }
    return [word.format(**names) for word in words]


def lay_out(folder: Path, document: Document) -> Path:
    """Write a document and the valid files that commands want beside it."""
    (folder / "home.csv").write_bytes(home_recording().data)
    (folder / "home-official.csv").write_bytes(seeds_of("official")[0].data)
    home = next(document for document in seeds_of("track") if document.story.startswith(HOME))
    (folder / "home.geojson").write_bytes(home.data)
    path = folder / document.name
    path.write_bytes(document.data)
    return path


class _Captured(io.TextIOWrapper):
    """A stream that the command line takes as it is, since it is not Python's own kind."""

    def text(self) -> str:
        self.flush()
        return bytes(self.buffer.getvalue()).decode()  # type: ignore[attr-defined]


def run_here(words: list[str], document: Document) -> Outcome:
    """Run a whole command in this process and this folder."""
    from trackkit.cli import run

    out, err = (_Captured(io.BytesIO(), "utf-8", "backslashreplace") for _ in range(2))
    given = io.TextIOWrapper(io.BytesIO(document.data), "utf-8")
    before = sys.stdin
    sys.stdin = given
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err), strict_warnings():
            status = run(words)
    finally:
        sys.stdin = before
    return Outcome(status, err.text(), out.text())


def run_apart(words: list[str], document: Document, folder: Path) -> tuple[Outcome, int]:
    """Run a whole command as users do, in a process of its own.

    Returns
    -------
    The outcome, and the most memory the process had in use, bytes.
    """
    environment = os.environ | {"PYTHONWARNINGS": "default", "OPENBLAS_NUM_THREADS": "1"}
    with (
        (folder / "given").open("wb+") as given,
        (folder / "out").open("wb+") as out,
        (folder / "err").open("wb+") as err,
    ):
        given.write(document.data)
        given.seek(0)
        process = subprocess.Popen(
            [sys.executable, "-m", "trackkit", *words],
            stdin=given,
            stdout=out,
            stderr=err,
            cwd=folder,
            env=environment,
            preexec_fn=limit_memory,
        )
        _, state, used = _waited(process)
        process.returncode = os.waitstatus_to_exitcode(state)
        if used.ru_utime + used.ru_stime > MOST_SECONDS + 5.0:  # Python and its libraries begin
            raise BlemishError(f"too slow: {used.ru_utime + used.ru_stime:.1f} s of computing")
        texts = []
        for stream in (err, out):
            stream.seek(0)
            texts.append(stream.read().decode(errors="replace"))
    return Outcome(process.returncode, *texts), used.ru_maxrss * 1024


def _waited(process: subprocess.Popen[bytes]) -> tuple[int, int, resource.struct_rusage]:
    try:
        return os.wait4(process.pid, 0)
    except BaseException:
        process.kill()
        process.wait()
        raise


def judge(outcome: Outcome, words: list[str]) -> None:
    """Require of a command what every command promises."""
    if outcome.status not in (0, 1, 2):
        raise BlemishError(f"exit status {outcome.status}: {outcome.remarks[-300:]}")
    if faulty := _FAULTY.search(outcome.remarks):
        raise BlemishError(f"{faulty[0]}: {outcome.remarks[-3000:]}")
    if outcome.status and not outcome.remarks.strip() and not outcome.printed.strip():
        raise BlemishError(f"exit status {outcome.status}, and not a word")
    for text in (outcome.remarks, outcome.printed):
        if odd := _CONTROLS.search(text):
            raise BlemishError(
                f"wrote {odd[0]!r}: {text[max(0, odd.start() - 100) : odd.end() + 100]!r}"
            )
    for line in outcome.remarks.splitlines():
        if line.startswith("trackkit: ") and len(line) > LONGEST_SENTENCE + len("trackkit: "):
            raise BlemishError(f"a sentence of {len(line)} characters: {line[:200]!r}")
    if "--json" in words and outcome.status == 0:
        json.loads(outcome.printed, parse_constant=_no_constant)
    # A library's own files stay: its index and its lock.
    left = [path.name for path in Path().rglob(".trackkit-*") if path.is_dir()]
    if left:
        raise BlemishError(f"left behind: {left}")


def _no_constant(name: str) -> float:
    raise BlemishError(f"printed {name}, which is no JSON")
