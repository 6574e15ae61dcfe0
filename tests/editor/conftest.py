"""The server behind `trackkit edit`, asked without a network."""

import pytest
import served_block
from served_block import HOME, PORT, TOKEN, small_page
from starlette.testclient import TestClient

from trackkit.editor.desk import Desk, Presence
from trackkit.editor.server import make_app
from trackkit.track.file import write_track


@pytest.fixture(scope="session")
def block():
    return served_block.block()


@pytest.fixture
def path(tmp_path, block):
    write_track(block, tmp_path / "block.geojson")
    return tmp_path / "block.geojson"


@pytest.fixture
def presence():
    return Presence()


@pytest.fixture
def client(path, presence):
    app = make_app(Desk(str(path)), TOKEN, PORT, small_page, presence)
    with TestClient(app, base_url=HOME, headers={"origin": HOME}) as client:
        yield client
