"""The page that this room reads."""

from __future__ import annotations

import pytest
from oval_page import FINDINGS, oval, session

from trackkit.pages.html import map_html


@pytest.fixture(scope="session")
def page() -> str:
    track = oval()
    return map_html(track, recordings=[session(track)], findings=FINDINGS)
