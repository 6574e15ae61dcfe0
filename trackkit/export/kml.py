"""A track as KML 2.2 (OGC 07-147r2)."""

from __future__ import annotations

from typing import Any

from trackkit.export.features import title
from trackkit.export.layers import Shape, layers_of
from trackkit.recordings.xml import xml_text
from trackkit.track.model import Track

_NAMESPACE = "http://www.opengis.net/kml/2.2"


def kml_document(track: Track) -> bytes:
    """Write KML 2.2: a folder a layer, names as names, all other fields as typed data.

    Not by GDAL: of its two drivers, older builds of pyogrio have only the one that keeps one
    layer a file, and mix up its fields.
    """
    from lxml import etree
    from lxml.builder import ElementMaker

    make = ElementMaker(namespace=_NAMESPACE, nsmap={None: _NAMESPACE})
    schemas, folders = [], []
    for layer, (rows, shapes) in layers_of(track).items():
        types: dict[str, str] = {}
        folder = make.Folder(make.name(layer))
        for row, shape in zip(rows, shapes, strict=True):
            fields = {key: value for key, value in row.items() if value is not None}
            name = fields.pop("name") or _nameless(fields)
            data = []
            for key, value in fields.items():
                types[key], text = _field(key, value)
                data.append(make.SimpleData(text, name=key))
            folder.append(
                make.Placemark(
                    make.name(xml_text(name)),
                    make.ExtendedData(make.SchemaData(*data, schemaUrl=f"#{layer}")),
                    _geometry(make, shape),
                )
            )
        declared = [make.SimpleField(name=key, type=kind) for key, kind in types.items()]
        schemas.append(make.Schema(*declared, name=layer, id=layer))
        folders.append(folder)
    document = make.kml(make.Document(make.name(xml_text(title(track))), *schemas, *folders))
    return bytes(
        etree.tostring(document, xml_declaration=True, encoding="UTF-8", pretty_print=True)
    )


def _nameless(fields: dict[str, Any]) -> str:
    """Name what has no name of its own, as GPX does: corners by number, others by id."""
    return f"Corner {fields['number']}" if "number" in fields else str(fields["feature_id"])


def _field(key: str, value: Any) -> tuple[str, str]:
    if isinstance(value, str):
        return "string", xml_text(value)
    if isinstance(value, bool):
        return "bool", str(int(value))
    if key in ("order", "number"):
        return "int", str(int(value))
    return "double", repr(float(value))


def _geometry(make: Any, shape: Shape) -> Any:
    if len(shape) > 1:
        return make.MultiGeometry(*(_geometry(make, [part]) for part in shape))
    coordinates = " ".join(",".join(repr(value) for value in row) for row in shape[0].tolist())
    kind = make.LineString if len(shape[0]) > 1 else make.Point
    return kind(make.coordinates(coordinates))
