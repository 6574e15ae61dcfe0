"""What the tables on a sheet say of a track."""

from dataclasses import replace

from paper_tracks import block

from trackkit.paper.draw import draw
from trackkit.track.accuracy import AccuracyRow


def test_the_tables_hold_length_direction_gates_sectors_and_corners(pictures):
    picture = pictures("antimeridian at 70 north")
    words = [text.get_text() for text in picture.figure.axes[0].texts]

    assert "Length 1,388 m, closed circuit, driven anticlockwise, 4 corners" in words
    # Sectors from 0 to 347 and 800 m of 1,388.5 m.
    assert {"347.0 m", "453.0 m", "588.5 m", "16.0 m"} <= set(words)
    assert words.count("30 m") == 4
    assert any("licensed timekeepers" in word for word in words)


def test_a_sheet_says_how_much_of_the_line_is_thin_and_how_well_it_is_known():
    track = block()
    rows = (
        AccuracyRow(0.0, 0.5, "measured"),
        AccuracyRow(0.25 * track.length_m, 3.0, "thin"),
        AccuracyRow(0.75 * track.length_m, 0.5, "measured"),
    )
    line = replace(track.centreline, accuracy_profile=rows)
    picture = draw(replace(track, centreline=line, accuracy_m=2.1))
    words = [text.get_text() for text in picture.figure.axes[0].texts]

    assert "thin: fixes far apart, ±3.0 m" in words
    assert any("line known to 2.1 m (one sigma; 50 % thin)" in word for word in words)


def test_a_sheet_tells_how_well_a_width_between_recorded_edges_is_known():
    track = block()
    sides = ((0.0, 4.0, 4.0), (0.5 * track.length_m, 5.0, 4.5))
    line = replace(
        track.centreline,
        width_profile=sides,
        accuracy_profile=(AccuracyRow(0.0, 0.6, "measured"), AccuracyRow(50.0, 0.6, "measured")),
    )
    picture = draw(replace(track, centreline=line, line="centre"))
    words = [text.get_text() for text in picture.figure.axes[0].texts]

    # One sigma of the difference of two lines is twice that of their mean.
    assert "track, 8.0 to 9.5 m wide, ±1.2 m" in words
