"""Pictures, drawn once each."""

import pytest
from paper_tracks import track_named

from trackkit.paper.draw import Picture, draw


@pytest.fixture(scope="session")
def pictures():
    """Pictures drawn so far, by name; drawing one takes a second."""
    drawn: dict[str, Picture] = {}

    def one(name: str) -> Picture:
        if name not in drawn:
            drawn[name] = draw(track_named(name))
        return drawn[name]

    return one
