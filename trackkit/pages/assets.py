"""What a map carries inside itself so that it needs no network: Leaflet, and our own files."""

from __future__ import annotations

import base64
import hashlib
import re
from functools import cache
from importlib import resources
from pathlib import Path

LEAFLET_LICENCE = "Leaflet, (c) 2010-2022 Vladimir Agafonkin, (c) 2010-2011 CloudMade, BSD-2-Clause"


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
        picture = base64.b64encode(_leaflet_file(match[1]).read_bytes()).decode("ascii")
        return f"url(data:image/png;base64,{picture})"

    return safe_in_element(re.sub(r"url\((images/[\w-]+\.png)\)", inlined, text))


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
