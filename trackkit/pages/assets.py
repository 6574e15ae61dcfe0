"""What a map carries inside itself so that it needs no network: Leaflet, and our own files."""

from __future__ import annotations

import base64
import hashlib
import re
from dataclasses import dataclass
from functools import cache
from importlib import resources
from pathlib import Path

from trackkit.errors import OutputError


@dataclass(frozen=True)
class Notice:
    """What the licence of a carried thing asks to be said wherever the thing goes.

    Parameters
    ----------
    name
        What is carried.
    text
        Its copyright and its whole licence; an empty line parts two paragraphs.
    """

    name: str
    text: str

    @property
    def paragraphs(self) -> list[str]:
        """The text without its line breaks, which are those of a terminal."""
        return [" ".join(part.split()) for part in re.split(r"\n\s*\n", self.text.strip())]


@cache
def own_notice() -> Notice:
    """Our own licence, for pages carry our scripts and styles."""
    return Notice("trackkit", own_file("licences/trackkit.txt"))


@cache
def leaflet_notice() -> Notice:
    """Leaflet's licence, with the years and holders that the carried script names.

    Raises
    ------
    OutputError
        When the script begins without naming them.
    """
    path = _leaflet_file("leaflet.js")
    header = path.read_text("utf-8").partition("*/")[0]
    holders = re.findall(r"\(c\) (\d{4}[^,\n]*)", header)
    if not holders:
        raise OutputError(
            "names no holder of its copyright at its beginning",
            file=path,
            remedy="install XStatic-Leaflet again",
        )
    copyright_lines = "\n\n".join(f"Copyright (c) {holder.strip()}" for holder in holders)
    conditions = own_file("licences/bsd-2-clause.txt")
    return Notice(
        "Leaflet",
        f"BSD 2-Clause License\n\n{copyright_lines}\n\nAll rights reserved.\n\n{conditions}",
    )


@cache
def leaflet_script() -> str:
    """Leaflet's script, from XStatic-Leaflet, without its pointer to a source map."""
    text = _leaflet_file("leaflet.js").read_text("utf-8")
    return safe_in_element(re.sub(r"\n//# sourceMappingURL=\S*", "", text))


@cache
def leaflet_style() -> str:
    """Leaflet's style, from XStatic-Leaflet, with the pictures it refers to written into it."""
    text = _leaflet_file("leaflet.css").read_text("utf-8")

    def inlined(match: re.Match[str]) -> str:
        return f"url({leaflet_picture(match[1])})"

    return safe_in_element(re.sub(r"url\((images/[\w-]+\.png)\)", inlined, text))


@cache
def leaflet_picture(name: str) -> str:
    """Write a PNG picture of XStatic-Leaflet, such as ``images/layers.png``, as an address."""
    picture = base64.b64encode(_leaflet_file(name).read_bytes()).decode("ascii")
    return f"data:image/png;base64,{picture}"


@cache
def own_file(name: str) -> str:
    """Read a file of pages/web: what its sources were bundled into, or a template."""
    return resources.files("trackkit.pages").joinpath("web", name).read_text("utf-8")


def safe_in_element(text: str) -> str:
    r"""Make a script or a style safe between its tags.

    An HTML parser ends the element at ``</script`` or ``</style`` and treats ``<!--`` as special
    wherever they stand, inside strings too (HTML Living Standard, 4.12.1.3).  In both languages
    these can only stand in strings and comments, where ``<\`` reads as ``<``.
    """
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    return re.sub(r"<(?=/(?:script|style)|!--)", r"<\\", text, flags=re.IGNORECASE)


def csp_hash(text: str) -> str:
    """Give the source expression by which a Content-Security-Policy allows exactly this text."""
    digest = hashlib.sha256(text.encode("utf-8")).digest()
    return f"'sha256-{base64.b64encode(digest).decode('ascii')}'"


def _leaflet_file(name: str) -> Path:
    from xstatic.pkg import leaflet

    return Path(leaflet.BASE_DIR) / name
