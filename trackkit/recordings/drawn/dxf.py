"""DXF drawings by ezdxf: lines, arcs and labels in layers, in the grid that a surveyor used."""

from __future__ import annotations

import logging
import math
import os
import re
from collections.abc import Iterator
from typing import Any

import numpy as np

from trackkit.arrays import Floats
from trackkit.errors import RecordingError
from trackkit.recordings.devices import library
from trackkit.recordings.drawn.features import (
    Drawing,
    DrawnFeature,
    Kind,
    chosen_crs,
    columns_of,
    in_wgs84,
)
from trackkit.recordings.raw import single_line

CHORD_ERROR = 0.005
"""How far from its chords an arc may lie, in the drawing's unit: a track file's 5 mm."""
_GUESS = re.compile(r'value "(.*)" near line (\d+)', re.DOTALL)
_LINES = ("LINE", "LWPOLYLINE", "POLYLINE", "SPLINE", "ARC", "CIRCLE", "ELLIPSE")
_UNITS = {2: "feet", 4: "millimetres", 5: "centimetres", 7: "kilometres"}
"""Values of $INSUNITS in the header of a drawing (DXF reference, header variables; from memory)."""


def read_dxf(path: str | os.PathLike[str], crs: str | None) -> Drawing:
    """Read the model space of a DXF drawing, blocks taken apart.

    Raises
    ------
    RecordingError
        ezdxf is not installed, the drawing is damaged, or no coordinate system is given: none is
        in a drawing.
    PlaceError
        PROJ knows no way from the coordinate system to WGS 84.
    """
    ezdxf = library("ezdxf", "DXF", path)
    recover = library("ezdxf.recover", "DXF", path)
    # What it has to say is said in our words.
    logging.getLogger("ezdxf").addHandler(logging.NullHandler())
    try:
        drawing, auditor = recover.readfile(os.fspath(path))
        _refuse_guesses(auditor, path)
        rows = list(_rows(drawing))
    except (AssertionError, AttributeError, TypeError) as error:
        # So ezdxf stumbles over what it expects of a whole drawing.
        raise RecordingError(
            "its DXF is damaged: objects of the drawing do not belong together",
            file=path,
            remedy="export it again",
        ) from error
    except (ezdxf.DXFError, OSError, ValueError, LookupError) as error:
        raise RecordingError(
            f"its DXF is damaged or breaks off ({single_line(error)})",
            file=path,
            remedy="export it again",
        ) from error
    if not rows:
        raise RecordingError("is a DXF drawing without a line or a point", file=path)
    system, remarks = chosen_crs(None, crs, "a DXF drawing", path)
    unit = _UNITS.get(int(drawing.header.get("$INSUNITS", 0)))
    if unit is not None:
        remarks = (
            *remarks,
            f"the drawing calls its unit {unit}; positions were taken in the unit of {system}",
        )
    moved, more = in_wgs84(rows, system, path)
    return Drawing(moved, "DXF", remarks=(*remarks, *more))


def _refuse_guesses(auditor: Any, path: str | os.PathLike[str]) -> None:
    """Refuse a drawing with numbers of which ezdxf kept what looked like one."""
    from ezdxf.audit import AuditError

    entries = [*auditor.errors, *auditor.fixes]
    texts = [
        match
        for entry in entries
        if entry.code == AuditError.INVALID_FLOATING_POINT_VALUE
        and (match := _GUESS.search(entry.message))
    ]
    # Of a position with one that is none, it lists all its numbers.
    for text in [text for text in texts if not _is_number(text[1])] or texts:
        raise RecordingError(
            f"its DXF is damaged: {text[1][:40]!r} is no number",
            file=path,
            place=f"near line {text[2]}",
            remedy="export it again",
        )


def _is_number(text: str) -> bool:
    try:
        return math.isfinite(float(text))
    except ValueError:
        return False


def _rows(drawing: Any) -> Iterator[DrawnFeature]:
    from ezdxf.disassemble import recursive_decompose

    count: dict[str, int] = {}
    for entity in recursive_decompose(drawing.modelspace()):
        kind, part, fields = _shape(entity)
        if kind is None:
            continue
        layer = str(entity.dxf.layer)
        count[layer] = count.get(layer, 0) + 1
        yield DrawnFeature(kind, (part,), fields, layer, count[layer])


def _shape(entity: Any) -> tuple[Kind | None, Floats, dict[str, Any]]:
    kind = entity.dxftype()
    if kind in _LINES:
        from ezdxf.path import make_path

        try:
            vertices = list(make_path(entity).flattening(CHORD_ERROR))
        except TypeError:
            # A polyline may be a mesh.
            return None, np.empty((0, 3)), {}
        part = columns_of(*zip(*(tuple(vertex) for vertex in vertices), strict=True))
        return ("line", part, {}) if len(part) > 1 else (None, part, {})
    if kind == "POINT":
        return "point", columns_of(*([value] for value in entity.dxf.location)), {}
    if kind in ("TEXT", "MTEXT"):
        text = entity.plain_text() if kind == "MTEXT" else entity.dxf.text
        return "point", columns_of(*([value] for value in entity.dxf.insert)), {"name": text}
    return None, np.empty((0, 3)), {}
