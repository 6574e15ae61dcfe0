"""A circuit on a given axis of matplotlib's, in metres, as the sheet draws it."""

from __future__ import annotations

import numpy as np
import pytest
from matplotlib.figure import Figure
from sample_circuits import IDS, track_of

import trackkit
from trackkit.errors import OutputError


@pytest.mark.slow
@pytest.mark.parametrize("name", [IDS[2], IDS[3], IDS[6]])
def test_a_circuit_is_drawn_in_metres_inside_the_axis_that_is_given(name):
    track = track_of(name)
    figure = Figure(figsize=(8, 6))
    beside, axes = figure.subplots(1, 2)

    assert trackkit.plot_track(track, axes) is axes

    line = track.curve.position(track.curve.chainages(5.0))
    (west, east), (south, north) = axes.get_xlim(), axes.get_ylim()
    assert west < line[:, 0].min()
    assert line[:, 0].max() < east
    assert south < line[:, 1].min()
    assert line[:, 1].max() < north
    assert axes.get_aspect() == 1.0
    assert not beside.lines
    # The gates' bars lie where the gates are.
    bars = [artist.get_transform().transform(artist.get_xydata()) for artist in axes.lines]
    figure.canvas.draw()
    for gate in track.gates:
        middle = axes.transData.transform(track.gate_ends(gate)).mean(axis=0)
        assert min(np.hypot(*(bar.mean(axis=0) - middle)) for bar in bars if len(bar) == 2) < 1.0


def test_names_of_gates_stand_beside_them():
    axes = trackkit.plot_track(track_of("pipwick-kart-circuit"), Figure(figsize=(9, 7)).subplots())

    texts = " ".join(text.get_text() for text in axes.texts)
    assert "Finish 0 m" in texts
    assert axes.get_title() == "Pipwick Kart Circuit"


@pytest.mark.slow
@pytest.mark.parametrize("layout", [None, "constrained", "tight"])
def test_a_label_is_as_wide_as_its_letters_whatever_lays_out_the_figure(layout):
    figure = Figure(figsize=(11, 7), layout=layout)
    (axes, other), _ = figure.subplots(2, 2)
    other.set(xlabel="chainage, m", ylabel="speed, km/h")

    trackkit.plot_track(track_of("pipwick-kart-circuit"), axes)

    figure.draw_without_rendering()
    (name,) = (text for text in axes.texts if text.get_text() == "Finish 0 m")
    letters = name.get_window_extent()
    middle = [0.5 * (letters.x0 + letters.x1), 0.5 * (letters.y0 + letters.y1)]
    boxes = [patch.get_window_extent() for patch in axes.patches]
    box = min((box for box in boxes if box.contains(*middle)), key=lambda box: box.width)
    assert letters.width < box.width < 1.25 * letters.width


def test_an_axis_too_small_for_a_circuit_is_refused():
    with pytest.raises(OutputError, match="too small for a circuit"):
        trackkit.plot_track(track_of("pipwick-kart-circuit"), Figure(figsize=(1, 1)).subplots())
