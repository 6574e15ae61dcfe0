"""What the tables on a sheet say of a track."""


def test_the_tables_hold_length_direction_gates_sectors_and_corners(pictures):
    picture = pictures("antimeridian at 70 north")
    words = [text.get_text() for text in picture.figure.axes[0].texts]

    assert "Length 1,388 m, closed circuit, driven anticlockwise, 4 corners" in words
    # Sectors from 0 to 347 and 800 m of 1,388.5 m.
    assert {"347.0 m", "453.0 m", "588.5 m", "16.0 m"} <= set(words)
    assert words.count("30 m") == 4
    assert any("licensed timekeepers" in word for word in words)
