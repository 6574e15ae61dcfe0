"""The file behind `trackkit edit`: what is saved, and what others wrote meanwhile.

Distances are geographiclib's (Karney 2013), not trackkit's.
"""

import os
from dataclasses import replace

import pytest
from geographiclib.geodesic import Geodesic
from served_block import AT, edited, post

from trackkit.cli import run
from trackkit.editor.desk import Desk
from trackkit.held_files import ChangedMeanwhileError
from trackkit.track.file import read_track, write_track


def apart_m(one, other):
    """Largest distance between ends of the same gates, metres."""
    known = {gate.id: gate for gate in other.gates}
    return max(
        Geodesic.WGS84.Inverse(a[1], a[0], b[1], b[0])["s12"]
        for gate in one.gates
        for a, b in ((gate.left, known[gate.id].left), (gate.right, known[gate.id].right))
    )


@pytest.mark.slow
def test_what_is_saved_is_what_the_commands_make_for_the_same_places(
    client, path, tmp_path, capsys
):
    by_command = tmp_path / "command" / "block.geojson"
    by_command.parent.mkdir()
    by_command.write_bytes(path.read_bytes())
    edited(client, do="move", gate="gate-a", to_m=412.0)
    edited(client, do="move", gate="finish", to_m=23.4)
    state = edited(client, do="place", kind="sector", at_m=1000.0)
    edited(client, do="move", gate="gate-b", to_m=900.0, merge="drag")
    edited(client, do="move", gate="gate-b", to_m=733.0, merge="drag")
    edited(client, do="place", kind="speed", at_m=640.0)
    edited(client, do="remove", gate="gate-a")
    edited(client, do="move", gate="finish", to_m=-12.0)
    assert post(client, "save").json()["saved"]
    name = str(by_command)
    for command in (
        ["move", name, "gate-a", "412m"],
        ["move", name, "finish", "23.4m"],
        ["place", name, "sector", "1000m"],
        ["move", name, "gate-b", "733m"],
        ["place", name, "speed", "640m"],
        ["remove", name, "gate-a"],
        ["move", name, "finish", "-12m"],
    ):
        assert run(["gate", *command]) == 0
    capsys.readouterr()
    ours, theirs = read_track(path), read_track(by_command)

    assert len(state["gates"]) == 4
    assert apart_m(ours, theirs) < 0.01
    assert [(g.id, g.kind, g.order, g.name, g.surveyed) for g in ours.gates] == [
        (g.id, g.kind, g.order, g.name, g.surveyed) for g in theirs.gates
    ]
    assert [g.chainage_m for g in ours.gates] == pytest.approx(
        [g.chainage_m for g in theirs.gates], abs=0.011
    )
    assert [e["what"] for e in ours.history] == [e["what"] for e in theirs.history]
    assert len(ours.centreline.longitude_deg) == len(theirs.centreline.longitude_deg)


def test_saving_keeps_the_previous_file_beside_the_new_one(client, path):
    before = path.read_bytes()
    edited(client, do="move", gate="gate-a", to_m=400.0)
    saved = post(client, "save").json()

    assert path.with_name("block.geojson~").read_bytes() == before
    assert saved["previous"] == f"{path}~"
    assert not saved["state"]["unsaved"]
    assert sorted(p.name for p in path.parent.iterdir()) == ["block.geojson", "block.geojson~"]


def test_saving_twice_does_not_lose_the_file_that_was_there_before(client, path):
    before = path.read_bytes()
    edited(client, do="move", gate="gate-a", to_m=400.0)
    post(client, "save")
    written = path.read_bytes()
    again = post(client, "save").json()

    assert again["saved"]
    assert path.read_bytes() == written
    assert path.with_name("block.geojson~").read_bytes() == before


def test_saving_keeps_everything_the_page_does_not_show(client, path, block):
    edited(client, do="move", gate="gate-a", to_m=400.0)
    post(client, "save")
    saved = read_track(path)

    for member in ("accepted", "sources", "members", "foreign"):
        assert getattr(saved, member) == getattr(block, member)
    assert saved.history[0] == block.history[0]
    assert saved.history[1]["what"] == "moved gate gate-a from 347.0 m to 400.0 m"
    assert len(saved.history) == 2


def test_a_file_changed_on_disk_is_noticed_and_not_overwritten(client, path):
    edited(client, do="move", gate="gate-a", to_m=400.0)
    stamp = path.stat()
    theirs = path.read_bytes().replace(b"drew it", b"drew IT")
    path.write_bytes(theirs)
    # The same size and the same time: only what is in it tells.
    os.utime(path, ns=(stamp.st_atime_ns, stamp.st_mtime_ns))

    assert client.get(f"{AT}/disk").json()["changed_on_disk"] is True
    answer = post(client, "save")
    assert answer.status_code == 409
    assert answer.json()["changed_on_disk"] is True
    assert "was changed on disk meanwhile" in answer.json()["error"]
    assert path.read_bytes() == theirs


def test_saving_all_the_same_keeps_what_was_on_disk_beside_it(client, path):
    edited(client, do="move", gate="gate-a", to_m=400.0)
    theirs = path.read_bytes().replace(b"drew it", b"drew IT")
    path.write_bytes(theirs)

    assert post(client, "save", {"replace_changed": True}).json()["saved"]
    assert path.with_name("block.geojson~").read_bytes() == theirs
    assert read_track(path).gate("gate-a").chainage_m == pytest.approx(400.0, abs=0.01)
    assert client.get(f"{AT}/disk").json()["changed_on_disk"] is False


def test_a_file_that_was_deleted_is_written_again_only_when_asked(client, path):
    edited(client, do="move", gate="gate-a", to_m=400.0)
    path.unlink()

    disk = client.get(f"{AT}/disk").json()
    assert (disk["changed_on_disk"], disk["gone"]) == (True, True)
    answer = post(client, "save")
    assert answer.status_code == 409
    assert answer.json()["gone"] is True
    assert "was deleted or moved meanwhile" in answer.json()["error"]
    assert not path.exists()
    saved = post(client, "save", {"replace_changed": True}).json()
    assert saved["previous"] is None
    assert path.exists()


def test_taking_the_file_from_disk_can_be_undone(client, path, block):
    edited(client, do="move", gate="gate-a", to_m=400.0)
    other = replace(block, gates=tuple(g for g in block.gates if g.id != "gate-b"))
    write_track(other, path, force=True)
    shown = post(client, "reload").json()

    assert [g["id"] for g in shown["gates"]] == ["finish", "gate-a"]
    assert not shown["unsaved"]
    assert shown["base"] == 1
    back = edited(client, do="undo")
    assert back["base"] == 0
    assert back["unsaved"]
    assert back["gates"][1]["chainage_m"] == pytest.approx(400.0)


def test_a_broken_file_on_disk_is_not_taken(client, path):
    path.write_text("{")
    answer = post(client, "reload")

    assert answer.status_code == 400
    assert "is not valid JSON" in answer.json()["error"]
    assert len(client.get(f"{AT}/state").json()["gates"]) == 3
    assert client.get(f"{AT}/disk").json()["changed_on_disk"] is True


def test_a_folder_that_cannot_be_written_is_one_sentence(client, path, monkeypatch):
    # Root may write anywhere: the refusal is made where the operating system would make it.
    def refused(*args, **more):
        raise PermissionError(13, "Permission denied")

    edited(client, do="move", gate="gate-a", to_m=400.0)
    before = path.read_bytes()
    monkeypatch.setattr("tempfile.mkdtemp", refused)
    answer = post(client, "save")

    assert answer.status_code == 400
    assert answer.json() == {"error": f"{path}: cannot be written (Permission denied)"}
    assert path.read_bytes() == before
    assert client.get(f"{AT}/state").json()["unsaved"]


def test_of_two_pages_that_save_one_file_the_second_is_told(path):
    one, other = Desk(str(path)), Desk(str(path))
    one.editing.apply({"do": "place", "kind": "speed", "at_m": 120.0})
    other.editing.apply({"do": "place", "kind": "speed", "at_m": 240.0})
    one.save()

    with pytest.raises(ChangedMeanwhileError, match="was changed on disk meanwhile"):
        other.save()

    assert len(read_track(path).gates_of_kind("speed")) == 1


def test_a_copy_is_written_beside_never_over_a_file_and_saves_nothing_else(client, path):
    before = path.read_bytes()
    edited(client, do="move", gate="gate-a", to_m=412.0)
    answer = post(client, "copy", {"name": " mine "})
    copy = path.parent / "mine.geojson"
    assert answer.json() == {"saved": True, "file": str(copy)}
    assert read_track(copy).gate("gate-a").chainage_m == pytest.approx(412.0, abs=0.01)
    assert path.read_bytes() == before
    assert client.get(f"{AT}/state").json()["unsaved"]
    written = copy.read_bytes()
    for name in ("mine", "mine.geojson", path.name):
        again = post(client, "copy", {"name": name})
        assert again.status_code == 400
        assert "exists" in again.json()["error"]
    assert copy.read_bytes() == written
    assert path.read_bytes() == before


@pytest.mark.parametrize("name", ["", "  ", "../out", "/tmp/out", "a\\b", "a\nb", ".hidden", 7])
def test_a_copy_needs_a_name_of_a_file_beside_the_track(client, path, name):
    before = sorted(path.parent.iterdir())
    answer = post(client, "copy", {"name": name})
    assert answer.status_code == 400
    assert "name" in answer.json()["error"]
    assert sorted(path.parent.iterdir()) == before
