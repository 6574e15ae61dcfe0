"""Damage to files: of bytes, lines, cells, numbers, times, JSON and XML."""

from __future__ import annotations

import contextlib
import gzip
import json
import re
import zlib
from collections.abc import Callable
from random import Random
from typing import Any

from .documents import Document
from .seeds import BINARY, seeds
from .words import BYTES, NUMBERS, TEXTS, TIMES

MOST_CHANGES = 6
MOST_BYTES = 1 << 21
"""Damage that repeats things stops here: large files are made on purpose, in `odd`."""

_NUMBER = re.compile(rb"[-+]?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?")
_ISO = re.compile(rb"\d{4}-\d\d-\d\d[T ][\d:.]+(?:Z|[+-]\d\d:?\d\d)?")
_DELIMITERS = (b",", b";", b"\t")


def mutated(document: Document, rng: Random) -> Document:
    """Damage a document in one to `MOST_CHANGES` ways."""
    for _ in range(min(MOST_CHANGES, 1 + int(rng.expovariate(0.9)))):
        how = rng.choice(_fitting(document))
        # What cannot be done to this content is left undone: not every file holds a number.
        with contextlib.suppress(_UnfitError):
            changed = how(document.data, rng)
            if len(changed) <= MOST_BYTES:
                document = document.changed(changed, how.__name__.strip("_"))
    return document


class _UnfitError(Exception):
    """The damage cannot be done to this content."""


Damage = Callable[[bytes, Random], bytes]


def _fitting(document: Document) -> list[Damage]:
    """List the kinds of damage by format, those of its structure more often than others."""
    text: list[Damage] = [
        _flip_byte,
        _insert_bytes,
        _cut_short,
        _drop_chunk,
        _repeat_chunk,
        _splice,
        _line_order,
        _repeat_line,
        _drop_line,
        _join_lines,
        _number,
        _number,
        _number,
        _jitter,
        _time,
        _encode,
        _pack,
        _keep_first,
    ]
    if document.data[:2] == b"\x1f\x8b":
        return [_flip_byte, _insert_bytes, _cut_short, _drop_chunk, _unpack, _unpack]
    if document.name.endswith(BINARY):
        return [_flip_byte, _insert_bytes, _cut_short, _drop_chunk, _repeat_chunk, _splice, _pack]
    if document.name.endswith(".geojson"):
        return [*text, *[_json_node] * 12]
    if document.name.endswith((".gpx", ".kml", ".tcx")):
        return [*text, *[_xml_node] * 8]
    if document.name.endswith(".dxf"):
        return text
    return [*text, *[_cell] * 6, _drop_column, _swap_columns, _repeat_column, _header]


def _place(data: bytes, rng: Random) -> int:
    return rng.randrange(len(data) + 1)


def _flip_byte(data: bytes, rng: Random) -> bytes:
    if not data:
        raise _UnfitError
    at = rng.randrange(len(data))
    return data[:at] + bytes([data[at] ^ (1 << rng.randrange(8))]) + data[at + 1 :]


def _insert_bytes(data: bytes, rng: Random) -> bytes:
    at = _place(data, rng)
    return data[:at] + rng.choice(BYTES) * rng.choice((1, 1, 1, 2, 50)) + data[at:]


def _cut_short(data: bytes, rng: Random) -> bytes:
    return data[: _place(data, rng)]


def _drop_chunk(data: bytes, rng: Random) -> bytes:
    at = _place(data, rng)
    return data[:at] + data[at + int(rng.expovariate(0.02)) :]


def _repeat_chunk(data: bytes, rng: Random) -> bytes:
    at = _place(data, rng)
    chunk = data[at : at + int(rng.expovariate(0.01))]
    return data[:at] + chunk * rng.choice((2, 2, 3, 100)) + data[at:]


def _splice(data: bytes, rng: Random) -> bytes:
    other = rng.choice(seeds()).data
    return data[: _place(data, rng)] + other[_place(other, rng) :]


def _lines(data: bytes) -> list[bytes]:
    lines = data.splitlines(keepends=True)
    if len(lines) < 2:
        raise _UnfitError
    return lines


def _line_order(data: bytes, rng: Random) -> bytes:
    lines = _lines(data)
    first = rng.randrange(len(lines))
    last = min(len(lines), first + rng.choice((2, 3, 10, len(lines))))
    part = lines[first:last]
    if rng.random() < 0.5:
        part.reverse()
    else:
        rng.shuffle(part)
    return b"".join([*lines[:first], *part, *lines[last:]])


def _repeat_line(data: bytes, rng: Random) -> bytes:
    lines = _lines(data)
    at = rng.randrange(len(lines))
    return b"".join([*lines[:at], *[lines[at]] * rng.choice((1, 2, 20, 500)), *lines[at:]])


def _drop_line(data: bytes, rng: Random) -> bytes:
    lines = _lines(data)
    at = rng.randrange(len(lines))
    return b"".join([*lines[:at], *lines[at + rng.choice((1, 1, 5, 50)) :]])


def _join_lines(data: bytes, rng: Random) -> bytes:
    lines = _lines(data)
    at = rng.randrange(len(lines))
    lines[at] = lines[at].rstrip(b"\r\n") + rng.choice((b"", b" ", b","))
    return b"".join(lines)


def _keep_first(data: bytes, rng: Random) -> bytes:
    """Keep the head and a few fixes, so that rules about small numbers meet small numbers."""
    lines = _lines(data)
    return b"".join(lines[: rng.randrange(1, 42)])


def _replaced(
    data: bytes, pattern: re.Pattern[bytes], rng: Random, new: Callable[[bytes], bytes]
) -> bytes:
    matches = list(pattern.finditer(data))
    if not matches:
        raise _UnfitError
    for match in sorted(
        rng.sample(matches, min(len(matches), rng.choice((1, 1, 1, 2, 10)))),
        key=lambda m: -m.start(),
    ):
        data = data[: match.start()] + new(match[0]) + data[match.end() :]
    return data


def _number(data: bytes, rng: Random) -> bytes:
    return _replaced(data, _NUMBER, rng, lambda _: rng.choice(NUMBERS).encode())


def _jitter(data: bytes, rng: Random) -> bytes:
    """Move numbers a little or a lot, so that they stay plausible."""

    def moved(number: bytes) -> bytes:
        value = float(number) * rng.choice((1.0, 1.0001, -1.0, 10.0, 1e-6, 1e7))
        return repr(value + rng.choice((0.0, 1e-5, 1e-3, 0.1, -1.0, 1e-9, 60.0))).encode()

    return _replaced(data, _NUMBER, rng, moved)


def _time(data: bytes, rng: Random) -> bytes:
    return _replaced(data, _ISO, rng, lambda _: rng.choice(TIMES).encode())


def _encode(data: bytes, rng: Random) -> bytes:
    text = data.decode("utf-8", "replace")
    return text.encode(
        rng.choice(("utf-16", "utf-8-sig", "latin-1", "cp1252", "utf-32")), "replace"
    )


def _pack(data: bytes, rng: Random) -> bytes:
    packed = gzip.compress(data, compresslevel=1, mtime=0)
    return packed * rng.choice((1, 1, 2))


def _unpack(data: bytes, rng: Random) -> bytes:
    try:
        return gzip.decompress(data)
    except (OSError, EOFError, zlib.error) as error:
        raise _UnfitError from error


def _table(data: bytes) -> tuple[list[list[bytes]], bytes]:
    head = data[:4096]
    delimiter = max(_DELIMITERS, key=head.count)
    if not head.count(delimiter):
        raise _UnfitError
    return [line.split(delimiter) for line in data.splitlines()], delimiter


def _joined(rows: list[list[bytes]], delimiter: bytes) -> bytes:
    return b"\n".join(delimiter.join(row) for row in rows) + b"\n"


def _cell(data: bytes, rng: Random) -> bytes:
    rows, delimiter = _table(data)
    for _ in range(rng.choice((1, 1, 3, 20))):
        row = rng.choice(rows)
        values = rng.choice((NUMBERS, NUMBERS, TIMES, TEXTS))
        row[rng.randrange(len(row))] = rng.choice(values).encode("utf-8", "surrogatepass")
    return _joined(rows, delimiter)


def _drop_column(data: bytes, rng: Random) -> bytes:
    rows, delimiter = _table(data)
    column = rng.randrange(max(map(len, rows)))
    return _joined([row[:column] + row[column + 1 :] for row in rows], delimiter)


def _swap_columns(data: bytes, rng: Random) -> bytes:
    rows, delimiter = _table(data)
    a, b = (rng.randrange(max(map(len, rows))) for _ in range(2))
    for row in rows:
        if max(a, b) < len(row):
            row[a], row[b] = row[b], row[a]
    return _joined(rows, delimiter)


def _repeat_column(data: bytes, rng: Random) -> bytes:
    rows, delimiter = _table(data)
    column, times = rng.randrange(max(map(len, rows))), rng.choice((1, 2, 40))
    return _joined(
        [row[:column] + row[column : column + 1] * times + row[column:] for row in rows], delimiter
    )


def _header(data: bytes, rng: Random) -> bytes:
    rows, delimiter = _table(data)
    words = (
        b"speed",
        b"speed (km/h)",
        b"time",
        b"date",
        b"lat",
        b"lon",
        b"N/S",
        b"time (ms)",
        b"hdop",
        b"sector 1",
        b"lap time",
        b"altitude (ft)",
        b"",
        b"time",
        b"elapsed",
    )
    rows[0][rng.randrange(len(rows[0]))] = rng.choice(words)
    return _joined(rows, delimiter)


def _json_value(rng: Random, depth: int = 0) -> Any:
    kinds = 9 if depth < 2 else 6
    kind = rng.randrange(kinds)
    if kind == 0:
        return rng.choice((None, True, False))
    if kind == 1:
        return rng.choice((0, -1, 1, 10**30, 2**63, -(2**70), 7))
    if kind == 2:
        return rng.choice((0.0, 1e308, -1e308, 1e-300, 0.5, 91.0, 181.0, 541.0, -0.0))
    if kind in (3, 4):
        return rng.choice((*TEXTS[:-1], *TIMES, *NUMBERS))
    if kind == 5:
        return rng.choice(([], {}, [[]], [None], {"": None}))
    if kind == 6:
        return [_json_value(rng, depth + 1) for _ in range(rng.randrange(4))]
    if kind == 7:
        return {
            rng.choice(TEXTS[:-1]): _json_value(rng, depth + 1) for _ in range(rng.randrange(3))
        }
    return [[rng.uniform(-180, 180), rng.uniform(-90, 90)] for _ in range(rng.randrange(5))]


def _json_node(data: bytes, rng: Random) -> bytes:
    try:
        document = json.loads(data)
    except (ValueError, RecursionError) as error:
        raise _UnfitError from error
    for _ in range(rng.choice((1, 1, 1, 2, 4))):
        holder, key = _any_node(document, rng)
        if holder is None:
            return json.dumps(_json_value(rng)).encode()
        action = rng.randrange(6)
        if action < 3:
            holder[key] = _json_value(rng)
        elif action == 3:
            del holder[key]
        elif isinstance(holder, list):
            holder[key:key] = [holder[key]] * rng.choice((1, 2, 200)) if action == 4 else []
            rng.shuffle(holder)
        else:
            holder[rng.choice(TEXTS[:-1])] = holder.pop(key) if action == 4 else _json_value(rng)
    return json.dumps(document, ensure_ascii=rng.random() < 0.5).encode("utf-8", "surrogatepass")


def _any_node(document: Any, rng: Random) -> tuple[Any, Any]:
    """Pick a member, walking down and stopping anywhere, so that shallow ones come as often."""
    holder, key, node = None, None, document
    while isinstance(node, (dict, list)) and node and rng.random() < 0.85:
        holder = node
        key = rng.choice(list(node)) if isinstance(node, dict) else rng.randrange(len(node))
        node = holder[key]
    return holder, key


def _xml_node(data: bytes, rng: Random) -> bytes:
    from lxml import etree

    try:
        root = etree.fromstring(data, etree.XMLParser(resolve_entities=False, no_network=True))
    except (etree.XMLSyntaxError, ValueError) as error:
        raise _UnfitError from error
    elements = list(root.iter(etree.Element))
    for _ in range(rng.choice((1, 1, 2, 10))):
        element = rng.choice(elements)
        with contextlib.suppress(ValueError):  # characters that XML cannot hold
            _change_element(element, elements, rng)
    return etree.tostring(root)


def _change_element(element: Any, elements: list[Any], rng: Random) -> None:
    action = rng.randrange(7)
    parent = element.getparent()
    text = rng.choice((*NUMBERS, *TIMES, *TEXTS[:-1]))
    if action == 0:
        element.text = text
    elif action == 1 and element.attrib:
        element.set(rng.choice(list(element.attrib)), text)
    elif action == 2 and element.attrib:
        del element.attrib[rng.choice(list(element.attrib))]
    elif action == 3 and parent is not None:
        parent.remove(element)
    elif action == 4 and parent is not None:
        import copy

        from lxml import etree

        copies = rng.choice((1, 2, 100))
        if copies * len(etree.tostring(element)) > MOST_BYTES:
            raise _UnfitError
        for _ in range(copies):
            parent.insert(parent.index(element), copy.deepcopy(element))
    elif action == 5:
        element.tag = rng.choice(
            ("trkpt", "time", "gpx", "kml", "trkseg", "x", "coordinates", "ele")
        )
    elif element.text:
        element.text = element.text.replace(",", rng.choice(("\t,", ",\t", ";", " ", ",,", "\n,")))
