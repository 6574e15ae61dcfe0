"""Public names say in numpydoc what they take, give back and raise."""

from __future__ import annotations

import ast
import dataclasses
import functools
import importlib
import inspect
import re
import textwrap
from collections.abc import Callable, Iterator
from typing import Any

import pytest

import trackkit
from trackkit.errors import TrackkitError

_HEADING = re.compile(r"^(\w[\w ]*)\n-{3,}$", re.MULTILINE)
_UNITS = {
    "_m": r"metre|chainage|as for `Recording`",
    "_s": r"second|time",
    "_deg": r"degree|as for `Recording`",
    "_mps": r"m/s|metres (a|per) second|as for `Recording`",
    "_hz": r"hertz|Hz|second",
}
"""What has to stand in the description of a parameter whose name ends so."""


def sections(text: str) -> dict[str, str]:
    """Cut a docstring at its headings; what stands before the first is under ""."""
    parts = _HEADING.split(inspect.cleandoc(text))
    return {"": parts[0], **dict(zip(parts[1::2], parts[2::2], strict=True))}


def described(section: str) -> dict[str, str]:
    """Names of a section's entries, and what is said of each."""
    found: dict[str, str] = {}
    names: list[str] = []
    for line in section.strip("\n").splitlines():
        if line and not line.startswith(" "):
            names = [name.strip().lstrip("*") for name in line.partition(" : ")[0].split(",")]
            found.update(dict.fromkeys(names, ""))
        else:
            for name in names:
                found[name] += line.strip() + " "
    return found


def callables() -> Iterator[tuple[str, Callable[..., Any], object]]:
    """Public functions, methods and properties, with the class of those that have one."""
    for name in sorted(trackkit.__all__):
        public = getattr(trackkit, name)
        if inspect.isfunction(public):
            yield name, public, None
        elif inspect.isclass(public):
            for member, value in vars(public).items():
                if member.startswith("_"):
                    continue
                function = {
                    property: lambda v: v.fget,
                    functools.cached_property: lambda v: v.func,
                    classmethod: lambda v: v.__func__,
                    staticmethod: lambda v: v.__func__,
                }.get(type(value), lambda v: v)(value)
                if inspect.isfunction(function):
                    yield f"{name}.{member}", function, value


FUNCTIONS = {name: (function, member) for name, function, member in callables()}
CLASSES = [name for name in sorted(trackkit.__all__) if inspect.isclass(getattr(trackkit, name))]


def is_property(member: object) -> bool:
    return isinstance(member, property | functools.cached_property)


def raised_in(function: Callable[..., Any]) -> set[str]:
    """Names of what the body raises by itself, those handed to another function apart."""
    tree = ast.parse(textwrap.dedent(inspect.getsource(function)))
    names = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Raise) and node.exc is not None:
            called = node.exc.func if isinstance(node.exc, ast.Call) else node.exc
            names.add(ast.unparse(called))
    return names


def raised_below(function: Callable[..., Any]) -> set[str]:
    """What functions called by name say that they raise, but for what the body catches."""
    room = vars(importlib.import_module(function.__module__))
    tree = ast.parse(textwrap.dedent(inspect.getsource(function)))
    names: set[str] = set()
    caught: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.ExceptHandler) and node.type is not None:
            caught.add(ast.unparse(node.type))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            called = room.get(node.func.id)
            if inspect.isfunction(called) and called.__doc__:
                names |= set(described(sections(called.__doc__).get("Raises", "")))
    return names - caught


def missing_units(entries: dict[str, str]) -> list[str]:
    return [
        name
        for name, said in entries.items()
        for ending, unit in _UNITS.items()
        if name.endswith(ending) and not re.search(unit, said, re.IGNORECASE)
    ]


@pytest.mark.parametrize("name", sorted(FUNCTIONS))
def test_functions_describe_what_they_take_and_give_back(name):
    function, member = FUNCTIONS[name]
    assert function.__doc__, "no docstring"
    told = sections(function.__doc__)
    signature = inspect.signature(function)
    taken = [parameter for parameter in signature.parameters if parameter not in {"self", "cls"}]
    entries = described(told.get("Parameters", ""))

    assert list(entries) == taken
    assert [entry for entry, said in entries.items() if not said.strip()] == []
    assert missing_units(entries) == []
    gives = signature.return_annotation not in {None, "None"}
    if gives and not is_property(member):
        assert "Returns" in told or "Yields" in told
        assert all(said.strip() for said in described(told.get("Returns", "x\n    y")).values())
    if not gives:
        assert "Returns" not in told


@pytest.mark.parametrize("name", sorted(FUNCTIONS))
def test_functions_describe_what_they_raise(name):
    function, _ = FUNCTIONS[name]
    told = described(sections(function.__doc__).get("Raises", ""))
    assert [entry for entry, said in told.items() if not said.strip()] == []

    for raised in raised_in(function) | raised_below(function):
        kind = vars(importlib.import_module(function.__module__)).get(raised)
        kind = kind or getattr(importlib.import_module("trackkit.errors"), raised, None)
        if inspect.isclass(kind) and issubclass(kind, TrackkitError):
            above = {base.__name__ for base in kind.__mro__ if issubclass(base, TrackkitError)}
            assert above & set(told), f"{raised} is raised and not told of"


@pytest.mark.parametrize("name", CLASSES)
def test_types_describe_their_fields_with_units(name):
    public = getattr(trackkit, name)
    told = sections(public.__doc__)
    entries = described(told.get("Parameters", ""))
    if dataclasses.is_dataclass(public):
        taken = [field.name for field in dataclasses.fields(public) if field.name[0] != "_"]
    else:
        taken = [name for name in inspect.signature(public.__init__).parameters if name != "self"]
    shown = [entry for entry in entries if entry[0] != "_"]

    assert sorted(shown) == sorted(taken)
    assert [entry for entry, said in entries.items() if not said.strip()] == []
    assert missing_units(entries) == []
    if "__post_init__" in vars(public):
        assert "Raises" in told


def test_the_reader_of_docstrings_sees_what_is_left_out():
    def partial(length_m: float, other: int) -> int:
        """Do it.

        Parameters
        ----------
        length_m
            How long.
        """
        if other:
            raise TrackkitError("no")
        return 1

    told = sections(partial.__doc__)
    entries = described(told["Parameters"])
    assert entries == {"length_m": "How long. "}
    assert missing_units(entries) == ["length_m"]
    assert raised_in(partial) == {"TrackkitError"}
    assert "Returns" not in told
