"""Remedies worded for a terminal: with the command, or the option, that does what they say."""

from __future__ import annotations

import os
import shlex
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from trackkit.errors import TrackkitError
from trackkit.remedies import Deed, Remedy
from trackkit.words import single_sentence

_ARGUMENTS = {"clock_within_s": "--clock-within", "columns": "--columns", "crs": "--crs"}
"""Options that give the arguments of the library's functions."""


@dataclass(frozen=True)
class About:
    """What a remedy is worded for.

    Parameters
    ----------
    track
        The track file that gates are changed in, or None where the user gave none.
    file
        The file that something is wrong with, or None.
    """

    track: str | None = None
    file: str | None = None


def sentence(remedy: Remedy, about: About) -> str:
    """Write a remedy as a clause that says what to type.

    A command can be pasted as it stands, but for words in capitals, which only a person can give.
    """
    if remedy.do is None:
        return remedy.what
    if remedy.do in _COMMANDS:
        return f"{remedy.what}: {command(remedy, about)}"
    if remedy.do in _OPTIONS:
        return f"{remedy.what}{_OPTIONS[remedy.do](remedy.value or {})}"
    return remedy.what


def error_sentence(error: TrackkitError, track: str | None = None) -> str:
    """Write what an error says, with what to type.

    Parameters
    ----------
    error
        The error.
    track
        The track file that the command is about, if any.
    """
    remedy = "" if error.remedy is None else sentence(error.remedy, About(track, error.file))
    return single_sentence(error.where, error.what, remedy)


def command(remedy: Remedy, about: About) -> str:
    """Write the command that does what a remedy says."""
    deed = remedy.do
    if deed not in _COMMANDS:
        raise ValueError(f"no command does {deed!r}")
    return shlex.join(["trackkit", *_COMMANDS[deed](remedy, about)])


def _track(about: About) -> str:
    return _named(about.track or about.file or "TRACK")


def _file(about: About) -> str:
    return _named(about.file or about.track or "FILE")


def _named(path: str) -> str:
    """Write a file's name so that it is not taken for an option."""
    return os.path.join(os.curdir, path) if path.startswith("-") else path  # noqa: PTH118


def _place(remedy: Remedy) -> str:
    value = remedy.value or {}
    if "left" in value and "right" in value:
        ends = [value["left"], value["right"]]
        return "/".join(f"{latitude:.8f},{longitude:.8f}" for longitude, latitude in ends)
    return "PLACE" if remedy.chainage_m is None else f"{remedy.chainage_m:.1f}m"


def _width(remedy: Remedy) -> list[str]:
    width = (remedy.value or {}).get("width_m")
    return [] if width is None else ["--width", f"{width:.1f}"]


def _move(remedy: Remedy, about: About) -> list[str]:
    gate = remedy.feature or "GATE"
    return ["gate", "move", _track(about), gate, _place(remedy), *_width(remedy)]


def _place_new(remedy: Remedy, about: About) -> list[str]:
    kind = str((remedy.value or {})["kind"])
    return ["gate", "place", _track(about), kind, _place(remedy), *_width(remedy)]


def _remove(remedy: Remedy, about: About) -> list[str]:
    return ["gate", "remove", _track(about), remedy.feature or "GATE"]


def _suggest(remedy: Remedy, about: About) -> list[str]:
    sectors = (remedy.value or {})["sectors"]
    return ["gate", "suggest", _track(about), "--sectors", str(sectors)]


def _accept(remedy: Remedy, about: About) -> list[str]:
    rule = str((remedy.value or {})["rule"])
    return ["check", _track(about), "--accept", rule, remedy.feature or "-", "--reason", "TEXT"]


def _locate(remedy: Remedy, about: About) -> list[str]:
    return ["locate", _named(str((remedy.value or {}).get("recording") or _file(about)))]


def _reverse(remedy: Remedy, about: About) -> list[str]:  # noqa: ARG001
    track = _track(about)
    other = Path(track).with_name(f"{Path(track).stem}-reversed.geojson")
    return ["reverse", track, "-o", _named(str(other))]


def _set(remedy: Remedy, about: About) -> list[str]:
    ((name, value),) = (remedy.value or {}).items()
    key = f"{name}:{remedy.feature}" if remedy.feature else name
    text = "" if value is None else f"{value:.2f}" if isinstance(value, float) else str(value)
    return ["set", _track(about), key, text]


def _build(remedy: Remedy, about: About) -> list[str]:
    file = _file(about)
    from_line = ["--from-line"] if remedy.do == "build from line" else []
    return ["build", *from_line, file, "--name", Path(file).stem]


def _revise(remedy: Remedy, about: About) -> list[str]:
    value = remedy.value or {}
    recordings = value.get("recordings") or [value.get("recording") or "RECORDING"]
    return ["build", "--revise", _track(about), *(_named(str(each)) for each in recordings)]


def _archive(about: About) -> list[str]:
    return ["--at", _named(about.file or "ARCHIVE")]


def _place_plan(remedy: Remedy, about: About) -> list[str]:  # noqa: ARG001
    plan = _file(about)
    laid = _named(f"{Path(plan).stem}-laid.tif")
    return ["underlay", plan, "--points", "POINTS.csv", "--credit", "TEXT", "-o", laid]


_COMMANDS: Mapping[Deed | None, Callable[[Remedy, About], list[str]]] = {
    "gate move": _move,
    "gate place": _place_new,
    "gate remove": _remove,
    "gate suggest": _suggest,
    "set": _set,
    "accept": _accept,
    "check": lambda _, about: ["check", _file(about)],
    "locate": _locate,
    "reverse": _reverse,
    "build": _build,
    "build from line": _build,
    "build revise": _revise,
    "check recording": lambda _, about: ["check", _track(about), "--recording", "RECORDING"],
    "finish forgetting": lambda _, about: ["archive", "forget", *_archive(about)],
    "list drivers": lambda _, about: ["archive", "summary", "--by", "driver", *_archive(about)],
    "place plan": _place_plan,
}


def _columns(value: Mapping[str, Any], option: str, example: str) -> str:
    columns = value.get("columns")
    named = ",".join(f"{role}={column}" for role, column in columns.items()) if columns else example
    return f" with {option} {named}"


_OPTIONS: Mapping[Deed | None, Callable[[Mapping[str, Any]], str]] = {
    "build open": lambda _: " with --open",
    "build layout": lambda value: f" with --lap-length {value['lap_length_m']:.0f}",
    "replace file": lambda _: " with --force",
    "replace track": lambda _: " with --replace",
    "name columns": lambda value: _columns(value, "--columns", "time=NAME"),
    "name official columns": lambda value: _columns(
        value, "--official-columns", "such as time=3 or lap=1,time=3,sector1=4"
    ),
    "name grid": lambda value: f" with --crs {value.get('crs', 'EPSG:..., such as EPSG:25832')}",
    "name picture grid": lambda _: " with --underlay-crs EPSG:..., such as EPSG:25832",
    "name credit": lambda _: " with --credit TEXT",
    "name layers": lambda value: f" with --layer {value.get('role', 'ROLE')}=NAME",
    "name fields": lambda value: (
        " with " + " ".join(f"--field {member}=NAME" for member in value["fields"])
    ),
    "name onto": lambda _: " with --onto TRACK",
    "read as recording": lambda _: ": leave --from-line out",
    "anyway": lambda _: " with --anyway",
    "leave out": lambda value: f": leave {_ARGUMENTS[value['argument']]} out",
    "raise limit": lambda value: f" with trackkit --limits {value['limit']}={value['most']} ...",
    "report": lambda _: ", which trackkit --traceback ... shows",
}
