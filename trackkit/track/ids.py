"""Ids of tracks and their features."""

from __future__ import annotations

import hashlib
import re
import unicodedata

from trackkit.errors import PlaceError
from trackkit.track.model import Track


def new_id(track: Track, prefix: str, salt: str) -> str:
    """Make an id no feature of the track has or had: gate-k3f9.

    It is drawn from what the track is and how often it was changed, so that the same commands
    give the same file, while a gate placed where another was removed gets another id.
    """
    taken = {gate.id for gate in track.gates} | {corner.id for corner in track.corners}
    alphabet = "abcdefghjkmnpqrstuvwxyz23456789"
    for attempt in range(1000):
        seed = f"{track.id}/{len(track.history)}/{prefix}/{salt}/{attempt}"
        digest = hashlib.sha256(seed.encode()).digest()
        token = "".join(alphabet[byte % len(alphabet)] for byte in digest[:4])
        if f"{prefix}-{token}" not in taken:
            return f"{prefix}-{token}"
    raise PlaceError("the track has too many features to name another")


def slug(name: str) -> str:
    """Make an id out of a name: lower-case letters, digits and hyphens.

    A name without any Latin letter or digit gets an id drawn from its bytes.
    """
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
    joined = re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-")[:80].strip("-")
    return joined or "track-" + hashlib.sha256(name.encode()).hexdigest()[:8]
