"""The server behind `trackkit edit`, asked without a network, and a session of edits alone."""

import pytest
import served_block
from drives import corner_speed, drive, track_of
from edited_block import GATES, ROAD
from served_block import HOME, PORT, TOKEN, small_page
from starlette.testclient import TestClient

from trackkit.checks.evaluate import prepare
from trackkit.editor.desk import Desk, Presence
from trackkit.editor.server import make_app
from trackkit.editor.session import Editing
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


@pytest.fixture(scope="session")
def plain_block():
    return track_of(ROAD, gates=GATES, spacing_m=2.0, revised="2024-01-01T00:00:00Z")


@pytest.fixture(scope="session")
def block_recording():
    outing = drive(ROAD, begin_m=1300.0, laps=4.3, cruise=corner_speed(ROAD, 25.0, 6.0))
    return outing.recording(10, doppler=True, noise=0.5, seed=4)


@pytest.fixture
def editing(plain_block, block_recording):
    return Editing(plain_block, prepare(plain_block, [block_recording]))
