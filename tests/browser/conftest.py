"""The browser that all journeys on pages share, and the page of `trackkit edit` in it."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from browsing import chromium

from trackkit.cli import run

if TYPE_CHECKING:
    from editor_page import Editor


@pytest.fixture(scope="session")
def browser() -> Iterator[object]:
    with chromium() as opened:
        yield opened


@pytest.fixture(scope="session")
def recording(tmp_path_factory) -> Path:
    from editor_page import SAMPLE

    path = tmp_path_factory.mktemp("drive") / "drive.csv"
    assert run(["simulate", str(SAMPLE), "--laps", "3", "--rate", "5", "-o", str(path)]) == 0
    return path


@pytest.fixture
def file(tmp_path) -> Path:
    from editor_page import SAMPLE

    path = tmp_path / "track.geojson"
    shutil.copy(SAMPLE, path)
    return path


@pytest.fixture
def editor(browser, file, recording) -> Iterator[Editor]:
    from editor_page import Editor

    opened = Editor(browser, file, [recording])
    yield opened
    assert opened.complaints == []
    assert [url for url in opened.requests if not url.startswith((opened.origin, "data:"))] == []
    opened.close()
