"""The page of many circuits, as it is written."""

from __future__ import annotations

from oval_page import oval, text_of

from trackkit.checks.check import check_track
from trackkit.checks.verdict import judge_track
from trackkit.pages.circuits import Listing, circuits_html
from trackkit.track.digest import short_digest


def test_each_circuit_has_its_verdict_and_the_letters_of_its_geometry() -> None:
    good, bad = (
        track.with_gates(track.gates)
        for track in (oval(accuracy_m=0.5, line="centre", name="Good"), oval(-22.0, name="Bad"))
    )
    assert judge_track(good, check_track(good)).fit

    text = text_of(circuits_html([Listing(good, "good.html"), Listing(bad, "bad.html")]))

    assert f" fit to hand on {short_digest(good)} " in text.replace("not fit", "unfit")
    assert f" not fit to hand on {short_digest(bad)} " in text
    assert short_digest(good) != short_digest(bad)
