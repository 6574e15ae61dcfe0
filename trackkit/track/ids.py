"""Ids of tracks and their features."""

from __future__ import annotations

import hashlib
import re
import unicodedata
from collections.abc import Collection

from trackkit.errors import PlaceError

_DEVICE = re.compile(r"con|prn|aux|nul|(com|lpt)[\d¹²³]|conin\$|conout\$", re.IGNORECASE)
"""Names of files that Windows keeps for devices (Microsoft, "Naming Files, Paths, and Namespaces";
from memory)."""


def drawn_id(prefix: str, salt: str, *, seed: str, taken: Collection[str]) -> str:
    """Draw an id that no feature has yet: gate-k3f9.

    Parameters
    ----------
    prefix
        What kind of feature it is for.
    salt
        What tells the feature from others, such as where it is.
    seed
        What tells the track and its state from others.
    taken
        Ids of other features.

    Returns
    -------
    str
        The same for the same arguments.

    Raises
    ------
    PlaceError
        When all that were tried are taken.
    """
    alphabet = "abcdefghjkmnpqrstuvwxyz23456789"
    for attempt in range(1000):
        digest = hashlib.sha256(f"{seed}/{prefix}/{salt}/{attempt}".encode()).digest()
        token = "".join(alphabet[byte % len(alphabet)] for byte in digest[:4])
        if f"{prefix}-{token}" not in taken:
            return f"{prefix}-{token}"
    raise PlaceError("the track has too many features to name another")


def slug(name: str) -> str:
    """Make an id out of a name: lower-case letters, digits and hyphens.

    No id is a name that Windows keeps for devices, whatever the suffix: a file of that name could
    not be held there.  A name without any Latin letter or digit gets an id drawn from its bytes.
    """
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
    joined = re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-")[:80].strip("-")
    if _DEVICE.fullmatch(joined):
        return f"track-{joined}"
    return joined or "track-" + hashlib.sha256(name.encode()).hexdigest()[:8]


def file_stem(name: str) -> str:
    """Make of a track's id, or of a file's stem, the stem of a file that Windows can hold as well.

    A name kept for a device is kept up to its first point, whatever comes behind that, so what
    tells them apart goes before the point.  No id holds an underscore: none leads to the file of
    another.
    """
    first, point, rest = name.partition(".")
    return f"{first.rstrip()}_{point}{rest}" if _DEVICE.fullmatch(first.rstrip()) else name
