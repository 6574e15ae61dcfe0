"""The server behind `trackkit edit`: what it shows, and edits one after the other."""

import threading
import time

import pytest
from drives import corner_speed, drive
from served_block import AT, HOME, PORT, ROAD, TOKEN, edited, post, small_page
from starlette.testclient import TestClient

from trackkit.editor.desk import Desk, Presence
from trackkit.editor.server import make_app


@pytest.fixture(scope="module")
def recording():
    outing = drive(ROAD, begin_m=1300.0, laps=3.3, cruise=corner_speed(ROAD, 25.0, 6.0))
    return outing.recording(5, doppler=True, noise=0.5, seed=4)


def test_an_edit_that_cannot_be_made_is_one_sentence(client):
    answer = post(client, "edit", {"do": "place", "kind": "finish", "at_m": 10.0})

    assert answer.status_code == 400
    error = answer.json()["error"]
    assert error == "the track has a finish gate already, at 0.0 m; move it there"
    assert not client.get(f"{AT}/state").json()["can_undo"]


@pytest.mark.slow
def test_edits_that_come_together_are_made_one_after_the_other(client):
    def work(number):
        for step in range(5):
            edited(client, do="move", gate="gate-a", to_m=350.0 + 10 * number + step)

    threads = [threading.Thread(target=work, args=(n,)) for n in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    shown = client.get(f"{AT}/state").json()

    assert shown["edit"] == 20
    for _ in range(20):
        shown = edited(client, do="undo")
    assert not shown["can_undo"]
    assert not shown["unsaved"]


@pytest.mark.slow
def test_a_recording_shows_its_laps(path, recording):
    app = make_app(Desk(str(path), [recording], ["k.csv"]), TOKEN, PORT, small_page, Presence())
    with TestClient(app, base_url=HOME, headers={"origin": HOME}) as client:
        shown = edited(client, do="move", gate="gate-a", to_m=400.0, light=True, merge="d")
        assert client.get(f"{AT}/").status_code == 200
    assert sum(lap["complete"] for lap in shown["laps"]) >= 2


def test_the_page_is_served_with_its_session(client):
    answer = client.get(f"{AT}/")

    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("text/html")
    assert answer.text == f"<!doctype html><title>1</title>3 {TOKEN}"


def test_each_page_that_is_opened_undoes_its_own_steps(path):
    pages = []

    def page(base, state, session):
        pages.append(session["page"])
        return small_page(base, state, session)

    app = make_app(Desk(str(path)), TOKEN, PORT, page, Presence())
    with TestClient(app, base_url=HOME, headers={"origin": HOME}) as client:
        client.get(f"{AT}/")
        client.get(f"{AT}/")
        first, second = pages
        moved = {"do": "move", "gate": "gate-a", "to_m": 400.0}
        assert post(client, f"edit?page={first}", moved).json()["can_undo"]

        assert not client.get(f"{AT}/state?page={second}").json()["can_undo"]
        refused = post(client, f"edit?page={second}", {"do": "undo"})
        assert refused.status_code == 400
        assert refused.json()["error"] == (
            "the step to undo (moved Gate-A) was made on another page; undo it there, or close "
            "that page first"
        )
        post(client, f"closed?page={first}")
        assert post(client, f"edit?page={second}", {"do": "undo"}).status_code == 200


def test_the_last_page_to_close_is_gone_after_a_while(client, presence, monkeypatch):
    monkeypatch.setattr("trackkit.editor.desk.CLOSED_S", 0.05)
    assert not presence.gone
    client.get(f"{AT}/")
    client.get(f"{AT}/")
    post(client, "closed")
    time.sleep(0.1)
    assert not presence.gone
    post(client, "closed")
    assert not presence.gone
    time.sleep(0.1)
    assert presence.gone
    client.get(f"{AT}/")
    time.sleep(0.1)
    assert not presence.gone
