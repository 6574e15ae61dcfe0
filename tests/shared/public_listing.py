"""The public names, their signatures and the columns of frames, as one text.

``python tests/shared/public_listing.py`` writes it again to tests/public_listing.txt.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import griffe
from checkout import ROOT

import trackkit

STORED = ROOT / "tests" / "public_listing.txt"


def listing() -> str:
    """Write the listing, one line each."""
    package = griffe.load("trackkit", search_paths=[str(Path(trackkit.__file__).parents[1])])
    lines: list[str] = []
    for name, module in sorted(trackkit._MODULES.items()):
        lines += _lines(name, package[f"{module}.{name}"])
    return "\n".join([*lines, "", *_columns()]) + "\n"


def _lines(name: str, thing: griffe.Object | griffe.Alias) -> Iterator[str]:
    if thing.is_function:
        yield f"{name}({_parameters(thing)}) -> {thing.returns}"
        return
    yield f"class {name}({', '.join(str(base) for base in thing.bases)})"
    for member, value in thing.members.items():
        if member.startswith("_") and member != "__geo_interface__":
            continue
        if value.is_function:
            yield f"  {name}.{member}({_parameters(value)}) -> {value.returns}"
        elif value.is_attribute:
            yield f"  {name}.{member}: {value.annotation}"


def _parameters(function: griffe.Object | griffe.Alias) -> str:
    parts: list[str] = []
    for parameter in function.parameters:
        if parameter.name in ("self", "cls"):
            continue
        if parameter.kind is griffe.ParameterKind.keyword_only and "*" not in parts:
            parts.append("*")
        star = "*" if parameter.kind is griffe.ParameterKind.var_positional else ""
        default = "" if parameter.default is None or star else f" = {parameter.default}"
        parts.append(f"{star}{parameter.name}: {parameter.annotation}{default}")
    return ", ".join(parts)


def _columns() -> Iterator[str]:
    from sample_circuits import track_of

    makers = ("laps_frame", "sectors_frame", "traces_frame", "crossings_frame")
    for make in (getattr(trackkit, name) for name in makers):
        for column, kind in make([]).dtypes.items():
            yield f"{make.__name__}: {column}, {kind}"
    for name, frame in trackkit.to_frames(track_of("pipwick-kart-circuit")).items():
        yield f"to_frames {name}: {', '.join(frame.columns)}"


if __name__ == "__main__":
    STORED.write_text(listing(), "utf-8")
