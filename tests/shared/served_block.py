"""The block circuit served for editing, and requests to its server."""

from dataclasses import replace
from functools import cache

from drives import block_circuit, track_of

from trackkit.editor.loopback import ADDRESS

ROAD = block_circuit()
GATES = [("finish", "finish", 0.0), ("gate-a", "sector", 347.0), ("gate-b", "sector", 800.0)]
PORT = 4321
TOKEN = "a-token-for-tests"
HOME = f"http://{ADDRESS}:{PORT}"
AT = f"{HOME}/{TOKEN}"


@cache
def block():
    track = track_of(ROAD, gates=GATES, spacing_m=2.0, revised="2024-01-01T00:00:00Z")
    accepted = (
        {
            "rule": "gate-apex",
            "feature": "gate-b",
            "reason": "as the club wants",
            "by": None,
            "date": "2024-01-01",
        },
    )
    return replace(
        track,
        accepted=accepted,
        sources=({"file": "a.csv", "sha256": "0" * 64, "laps": 3},),
        history=({"revised": "2024-01-01T00:00:00Z", "by": "Ann", "what": "drew it"},),
        members={"x-club": {"bench": 3}},
        foreign={"x-whole": [1, 2]},
    )


def small_page(base, state, session):
    return (
        f"<!doctype html><title>{base['version']}</title>{len(state['gates'])} {session['token']}"
    )


def post(client, route, body=None, **headers):
    return client.post(f"{AT}/{route}", json={} if body is None else body, headers=headers)


def edited(client, **request):
    answer = post(client, "edit", request)
    assert answer.status_code == 200, answer.text
    return answer.json()
