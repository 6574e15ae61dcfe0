"""JSON Schemas of what ``--json`` prints, read from the files beside this one."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

from trackkit.errors import TrackkitError

_FOLDER = Path(__file__).parent
_SUFFIX = ".schema.json"
_SHARED = "shared"
_REFERENCE = f"{_SHARED}{_SUFFIX}#/$defs/"


@cache
def schema_names() -> tuple[str, ...]:
    """Name the commands that have a schema, by the alphabet."""
    files = [path.name.removesuffix(_SUFFIX) for path in _FOLDER.glob(f"*{_SUFFIX}")]
    return tuple(sorted(name.replace("-", " ") for name in files if name != _SHARED))


def output_schema(command: str) -> dict[str, Any]:
    """Give the JSON Schema of what a command prints with ``--json``.

    Parameters
    ----------
    command
        As it is typed after ``trackkit``, such as ``laps`` or ``gate list``.

    Returns
    -------
    dict
        A schema of draft 2020-12 that refers to no other file.  Every key is described with its
        unit; objects have the keys that are told and no others.

    Raises
    ------
    TrackkitError
        When the command prints no JSON.

    Examples
    --------
    >>> import trackkit
    >>> schema = trackkit.output_schema("gate list")
    >>> schema["properties"]["gates"]["description"]
    'in racing order'
    """
    if command not in schema_names():
        raise TrackkitError(
            f"no command {command!r} prints JSON", remedy=f"use one of {', '.join(schema_names())}"
        )
    schema = _read(command.replace(" ", "-"))
    parts: dict[str, Any] = {}
    whole: dict[str, Any] = _with_parts(schema, parts)
    if parts:
        whole["$defs"] = {**whole.get("$defs", {}), **parts}
    return whole


def _read(name: str) -> dict[str, Any]:
    document: dict[str, Any] = json.loads((_FOLDER / f"{name}{_SUFFIX}").read_text("utf-8"))
    return document


def _with_parts(node: Any, parts: dict[str, Any]) -> Any:
    """Copy a schema, its references to shared parts turned inwards, and collect those parts."""
    if isinstance(node, list):
        return [_with_parts(item, parts) for item in node]
    if not isinstance(node, dict):
        return node
    copy = {key: _with_parts(value, parts) for key, value in node.items()}
    reference = copy.get("$ref")
    if isinstance(reference, str) and reference.startswith((_REFERENCE, "#/$defs/")):
        name = reference.rpartition("/")[2]
        if reference.startswith(_REFERENCE):
            name = f"{_SHARED}-{name}"
            if name not in parts:
                parts[name] = {}
                shared = _read(_SHARED)["$defs"][name.removeprefix(f"{_SHARED}-")]
                parts[name] = _with_parts(_outward(shared), parts)
        copy["$ref"] = f"#/$defs/{name}"
    return copy


def _outward(node: Any) -> Any:
    """Turn references among the shared parts into references from outside."""
    if isinstance(node, list):
        return [_outward(item) for item in node]
    if not isinstance(node, dict):
        return node
    copy = {key: _outward(value) for key, value in node.items()}
    if str(copy.get("$ref", "")).startswith("#/$defs/"):
        copy["$ref"] = f"{_SHARED}{_SUFFIX}{copy['$ref']}"
    return copy
