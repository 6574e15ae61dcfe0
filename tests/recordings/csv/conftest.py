"""Delimited text written for the readers of this room."""

from __future__ import annotations

import pytest


@pytest.fixture
def csv(tmp_path):
    def write(text: str, encoding: str = "utf-8"):
        path = tmp_path / "drive.csv"
        path.write_bytes(text.encode(encoding))
        return path

    return write
