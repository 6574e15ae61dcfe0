"""Read what somebody drew, whatever the format, which is recognised from what a file holds."""

from __future__ import annotations

import os
import re
import zipfile
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

from trackkit.budgets import budgets, require
from trackkit.errors import PlaceError, RecordingError, TrackkitError, reading_failed
from trackkit.recordings.detect import load_json, recognised
from trackkit.recordings.drawn.features import Drawing, DrawnFeature, refuse_crs
from trackkit.recordings.drawn.gate_ends import holds_gate_ends, read_gate_ends
from trackkit.recordings.drawn.wkt import holds_shapes, read_shapes
from trackkit.recordings.packed import ZIP
from trackkit.remedies import Remedy

WHAT_IS_DRAWN = (
    "tracks are imported from GeoPackage, GeoJSON, KML, KMZ, Shapefile, FlatGeobuf, GeoParquet, "
    "DXF, GPX and CSV with WKT, and gates from CSV"
)
_SHAPEFILE = b"\x00\x00\x27\x0a"
_DXF = re.compile(rb"\s*(?:999\r?\n[^\n]*\n\s*)*0\r?\n\s*SECTION\b")
_BINARY_DXF = b"AutoCAD Binary DXF"
_BESIDE_SHAPEFILE = (".dbf", ".shx", ".prj", ".cpg", ".sbn", ".sbx", ".qix", ".qmd", ".xml")
_SUFFIXES = (".shp", ".fgb", ".gpkg", ".geojson", ".json", ".parquet", ".kml", ".dxf", ".gpx")
"""Of files that are read in a folder."""
_TABLES = (".csv", ".txt", ".tsv")
"""Of those that are read there where they hold ends of gates, or well-known text."""


def read_drawing(
    path: str | os.PathLike[str],
    *,
    crs: str | None = None,
    columns: Mapping[str, str] | None = None,
) -> Drawing:
    """Read every feature that a file, or a folder of files, holds.

    Parameters
    ----------
    path
        The file; its format is recognised from what it holds.  Of a folder, or a ZIP archive,
        each Shapefile, FlatGeobuf, KML and so on, and each table of ends of gates or with WKT, is
        read, as layers of one drawing.
    crs
        The coordinate system, such as "EPSG:25832", which goes before the file's own; None for
        that, and WGS 84 where a format knows no other.
    columns
        The columns of a table that hold the ends of gates, by
        `trackkit.recordings.drawn.gate_ends.ENDS`.

    Raises
    ------
    RecordingError
        The file is damaged, or in no format of drawings.
    PlaceError
        PROJ does not know the coordinate system, or no way from it to WGS 84.
    """
    file = Path(path)
    if file.is_dir():
        return _folder(file, path, crs, columns)
    head = _head(path)
    try:
        if is_shapefile(head):
            return _layers(path, "Shapefile", crs)
        if is_dxf(head):
            from trackkit.recordings.drawn.dxf import read_dxf

            return read_dxf(path, crs)
        if head.startswith(ZIP) and (archive := _archive(path)):
            return archive(crs, columns)
        return _recognised(path, crs, columns or {})
    except PlaceError as error:
        raise PlaceError(
            error.what, file=error.file or path, place=error.place, remedy=error.remedy
        ) from error


def rights_in(
    path: str | os.PathLike[str], crs: str | None = None
) -> tuple[str | None, str | None]:
    """Read the credit that a drawing's features ask for, and their licence; None where none is."""
    try:
        fields = [feature.fields for feature in read_drawing(path, crs=crs).features]
    except RecordingError:
        # A line may also stand alone in a file, as a bare geometry, which says nothing of itself.
        return None, None

    def first(key: str) -> str | None:
        texts = (one.get(key) for one in fields)
        return next((text for text in texts if isinstance(text, str) and text.strip()), None)

    return first("credit"), first("licence")


def is_drawing_only(path: str | os.PathLike[str]) -> bool:
    """Tell whether a path is a Shapefile, a DXF drawing, or a folder or archive of such."""
    file = Path(path)
    if file.is_dir():
        return True
    try:
        head = _head(path)
    except RecordingError:
        return False
    if head.startswith(ZIP):
        return _archive(path) is not None
    return is_shapefile(head) or is_dxf(head)


def is_shapefile(head: bytes) -> bool:
    """Tell a Shapefile by its first bytes (ESRI Shapefile Technical Description, July 1998)."""
    return head.startswith(_SHAPEFILE)


def is_dxf(head: bytes) -> bool:
    """Tell a DXF drawing by its first bytes."""
    return head.startswith(_BINARY_DXF) or _DXF.match(head) is not None


def _head(path: str | os.PathLike[str]) -> bytes:
    try:
        with Path(path).open("rb") as file:
            return file.read(4096)
    except OSError as error:
        raise RecordingError(reading_failed(path, error), file=path) from error
    except ValueError as error:
        raise RecordingError(f"is not a usable file name ({error})", file=path) from error


def _layers(path: str | os.PathLike[str], what: str, crs: str | None) -> Drawing:
    from trackkit.recordings.drawn.layers import read_layers

    size = Path(path).stat().st_size
    require("unpacked_bytes", size, RecordingError, "has", file=path)
    return read_layers(path, what, crs)


def _recognised(
    path: str | os.PathLike[str], crs: str | None, columns: Mapping[str, str]
) -> Drawing:
    file = Path(path)
    if file.suffix.lower() in _BESIDE_SHAPEFILE and file.with_suffix(".shp").exists():
        raise RecordingError(
            "is a part of a Shapefile", file=path, remedy=f"give {file.with_suffix('.shp')}"
        )
    try:
        data, chosen = recognised(path)
    except RecordingError as error:
        # What it says besides is of recordings.
        what = error.what.removesuffix(", not GPX").removesuffix(", not a recording")
        by_hand = error.remedy is not None and error.remedy.do is None
        remedy = WHAT_IS_DRAWN if by_hand else error.remedy
        raise RecordingError(what, file=error.file, place=error.place, remedy=remedy) from error
    if chosen.key in ("gpkg", "fgb"):
        return _layers(path, chosen.name, crs)
    if chosen.key == "parquet":
        from trackkit.recordings.drawn.layers import read_geoparquet

        return read_geoparquet(data, path, crs)
    if chosen.key in ("kml", "gpx"):
        from trackkit.recordings.drawn import markup

        refuse_crs(crs, chosen.name, path)
        readers = {"kml": markup.read_kml_features, "gpx": markup.read_gpx_features}
        return readers[chosen.key](data, path)
    if chosen.key == "json":
        from trackkit.recordings.drawn.layers import read_json

        return read_json(load_json(data, path), path, crs)
    if chosen.key == "text":
        if not columns and not holds_gate_ends(path, columns) and holds_shapes(data):
            return read_shapes(data, path, crs)
        return read_gate_ends(data, path, crs, columns)
    raise RecordingError(
        f"is a recording, {chosen.name}, and no track that somebody drew",
        file=path,
        remedy=Remedy("build a track file from it", do="build"),
    )


def _folder(
    folder: Path,
    path: str | os.PathLike[str],
    crs: str | None,
    columns: Mapping[str, str] | None,
) -> Drawing:
    """Read the files of a folder as the layers of one drawing, a layer named as its file."""
    try:
        files = sorted(f for f in folder.rglob("*") if f.suffix.lower() in (*_SUFFIXES, *_TABLES))
    except OSError as error:
        raise RecordingError(reading_failed(path, error), file=path) from error
    files = [f for f in files if not _is_hidden(f.relative_to(folder))]
    files = [f for f in files if f.suffix.lower() in _SUFFIXES or _is_drawn_table(f, columns or {})]
    if not files:
        raise RecordingError("holds no file of drawn features", file=path, remedy=WHAT_IS_DRAWN)
    features: list[DrawnFeature] = []
    remarks: list[str] = []
    kinds: list[str] = []
    for file in files:
        drawing = read_drawing(file, crs=crs, columns=columns)
        features += drawing.features
        remarks += drawing.remarks
        kinds.append(drawing.what)
    what = kinds[0] if len(set(kinds)) == 1 else "a folder"
    return Drawing(tuple(features), what, remarks=tuple(dict.fromkeys(remarks)))


def _is_drawn_table(file: Path, columns: Mapping[str, str]) -> bool:
    return holds_gate_ends(file, columns) or holds_shapes(_head(file))


def _is_hidden(file: Path) -> bool:
    return any(part.startswith((".", "__MACOSX")) for part in file.parts)


def _archive(
    path: str | os.PathLike[str],
) -> Callable[[str | None, Mapping[str, str] | None], Drawing] | None:
    """Return what reads a ZIP archive of several drawn files; None where it holds no such."""
    try:
        with zipfile.ZipFile(path) as archive:
            members = [
                member
                for member in archive.infolist()
                if not member.is_dir() and not _is_hidden(Path(member.filename))
            ]
    except (zipfile.BadZipFile, OSError):
        return None
    drawn = [m for m in members if Path(m.filename).suffix.lower() in _SUFFIXES]
    alone = len(drawn) < 2 and not any(m.filename.lower().endswith((".shp", ".dxf")) for m in drawn)
    beside = any(Path(m.filename).suffix.lower() in _TABLES for m in members)
    if alone and not (drawn and beside):
        return None

    def read(crs: str | None, columns: Mapping[str, str] | None) -> Drawing:
        with TemporaryDirectory() as scratch:
            _unpack(path, members, Path(scratch))
            try:
                return _folder(Path(scratch), path, crs, columns)
            except TrackkitError as error:
                inner = Path(error.file).name if error.file else None
                place = ", ".join(part for part in (inner, error.place) if part)
                raise type(error)(
                    error.what, file=path, place=place or None, remedy=error.remedy
                ) from error

    return read


def _unpack(
    path: str | os.PathLike[str], members: Sequence[zipfile.ZipInfo], scratch: Path
) -> None:
    size = sum(member.file_size for member in members)
    require("unpacked_bytes", size, RecordingError, "its ZIP archive unpacks to", file=path)
    try:
        with zipfile.ZipFile(path) as archive:
            for member in members:
                # Only the last part of a name: whatever folders it says, it stays in ours.
                inner = Path(member.filename)
                target = scratch / inner.name
                with archive.open(member) as packed:
                    target.write_bytes(packed.read(budgets().unpacked_bytes))
    except (zipfile.BadZipFile, OSError, ValueError, RuntimeError, NotImplementedError) as error:
        raise RecordingError(
            f"its ZIP archive is damaged, locked or breaks off ({' '.join(str(error).split())})",
            file=path,
            remedy="unpack it first",
        ) from error
