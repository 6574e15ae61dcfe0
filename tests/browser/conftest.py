"""The browser that all journeys on pages share."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from browsing import chromium


@pytest.fixture(scope="session")
def browser() -> Iterator[object]:
    with chromium() as opened:
        yield opened
