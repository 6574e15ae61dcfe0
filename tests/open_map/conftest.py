"""What tests of open map data share: a machine without libraries, and osmium."""

from __future__ import annotations

import pytest

from trackkit.library.folders import ENVIRONMENT_VARIABLE

pytest.importorskip("osmium")


@pytest.fixture(autouse=True)
def home(monkeypatch, tmp_path):
    monkeypatch.delenv(ENVIRONMENT_VARIABLE, raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    return tmp_path
