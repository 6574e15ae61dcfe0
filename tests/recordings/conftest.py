"""Files written for the readers of this room."""

from __future__ import annotations

import json

import pytest


@pytest.fixture
def file(tmp_path):
    def write(data: bytes, name: str = "drive.bin"):
        path = tmp_path / name
        path.write_bytes(data)
        return path

    return write


@pytest.fixture
def geojson(tmp_path):
    def write(*features, **members):
        document = {"type": "FeatureCollection", "features": list(features), **members}
        path = tmp_path / "drive.geojson"
        path.write_text(json.dumps(document), encoding="utf-8")
        return path

    return write
