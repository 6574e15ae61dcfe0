"""Pictures under the map, from a server that the user names."""

from __future__ import annotations

import re
from dataclasses import dataclass
from html import escape
from urllib.parse import urlsplit

from trackkit.errors import OutputError

_PARTS = ("{z}", "{x}", "{y}")
_HOST = re.compile(r"(?:[a-z0-9-]+\.)*[a-z0-9-]+(?::\d{1,5})?", re.IGNORECASE)
_EXAMPLE = "such as https://tiles.example.org/{z}/{x}/{y}.png"


@dataclass(frozen=True)
class TileLayer:
    """A server of square pictures in the web's Mercator projection, as the page asks it.

    Parameters
    ----------
    url
        Address of a tile: ``{z}`` stands for the zoom, ``{x}`` and ``{y}`` for column and row.
    origin
        Scheme and host, which the page may then load pictures from.
    host
        The host, with its port where it has one.
    attribution
        Credit that the map shows, as HTML.
    """

    url: str
    origin: str
    host: str
    attribution: str


def tile_layer(url: str | None, credit: str | None) -> TileLayer | None:
    """Judge the address of tiles, and the credit that goes with them.

    Parameters
    ----------
    url
        Address with ``{z}``, ``{x}`` and ``{y}`` in it; None for no tiles.
    credit
        What the map says of where they are from, as plain text.

    Returns
    -------
    TileLayer or None
        None when neither is given.

    Raises
    ------
    OutputError
        When one comes without the other, or the address is none of tiles.
    """
    if url is None and credit is None:
        return None
    if url is None or credit is None or not credit.strip():
        raise OutputError(
            "tiles need both an address and a credit to whoever made them",
            remedy="give both, or leave both out",
        )
    try:
        parts = urlsplit(url)
        port = parts.port
    except ValueError as error:
        raise OutputError(f"{url!r} is no address", remedy=f"give one {_EXAMPLE}") from error
    if parts.scheme not in ("https", "http") or not _HOST.fullmatch(parts.netloc) or port == 0:
        raise OutputError(
            f"{url!r} is no address of a host, without a name or password before it, that begins "
            "with https:// or http://",
            remedy=f"give one {_EXAMPLE}",
        )
    missing = [part for part in _PARTS if url.count(part) != 1]
    if missing:
        raise OutputError(
            f"{url!r} does not hold {' and '.join(missing)} once",
            remedy="write {z} for the zoom, {x} for the column and {y} for the row, " + _EXAMPLE,
        )
    more = re.findall(r"\{[^}]*\}?|\}", re.sub(r"\{[zxy]\}", "", url))
    if more or re.search(r"[\s\x00-\x1f\x7f]", url):
        what = " and ".join(more) or "a space"
        raise OutputError(
            f"{url!r} holds {what}, which no tile's address is made with here",
            remedy=f"give an address with {{z}}, {{x}} and {{y}} only, {_EXAMPLE}",
        )
    origin = f"{parts.scheme}://{parts.netloc}"
    return TileLayer(url, origin, parts.netloc, escape(credit.strip()))
