"""NMEA 0183 as it comes: one fix for each sentence that tells one, at once."""

from collections import Counter

import pytest

from trackkit.recordings.nmea.stream import fixes_of_nmea


def sentence(body):
    # NMEA 0183: the checksum is the exclusive or of what is between $ and *.
    value = 0
    for letter in body:
        value ^= ord(letter)
    return f"${body}*{value:02X}\r\n".encode()


def test_rmc_gives_position_speed_in_knots_and_course():
    line = sentence("GPRMC,123519.00,A,4807.038,N,01131.000,W,022.4,084.4,230394,,,A")
    (fix,) = fixes_of_nmea([line], Counter())
    assert (fix.longitude_deg, fix.latitude_deg) == pytest.approx((-11.516667, 48.1173))
    # A knot is 1,852 m an hour (ISO 80000-3).
    assert fix.speed_mps == pytest.approx(22.4 * 1852 / 3600)
    assert fix.course_deg == pytest.approx(84.4)


def test_gga_counts_until_there_is_rmc():
    gga = sentence("GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,")
    rmc = sentence("GPRMC,123520,A,4807.038,N,01131.000,E,022.4,084.4,230394,,,A")
    found = list(fixes_of_nmea([gga, rmc, gga, rmc], Counter()))
    assert [fix.course_deg for fix in found] == [None, 84.4, 84.4]


def test_damaged_sentences_and_those_without_a_fix_are_counted_and_left_out():
    good = sentence("GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,,,A")
    lines = [
        good.replace(b"4807", b"4907"),
        sentence("GPRMC,123519,V,,,,,,,230394,,,N"),
        sentence("GPGGA,123519,,,,,0,00,99.9,,,,,,"),
        sentence("GPRMC,123519,A,9907.038,N,01131.000,E,022.4,084.4,230394,,,A"),
        b"\xff\xfe rubbish\n",
        b"$GPGSV,1,1,00*79\r\n",
        b"2024 noise before " + good,
    ]
    left_out = Counter()
    assert len(list(fixes_of_nmea(lines, left_out))) == 1
    assert left_out == {"damaged": 2, "no fix": 2}


def test_every_fix_is_there_before_the_next_line_is_asked_for():
    taken = []

    def lines():
        for second in range(3):
            taken.append(second)
            yield sentence(f"GPRMC,12000{second},A,4807.038,N,01131.000,E,022.4,084.4,230394,,,A")

    fixes = fixes_of_nmea(lines(), Counter())
    for second in range(3):
        next(fixes)
        assert taken == list(range(second + 1))


def test_a_position_at_0_0_is_that_of_a_receiver_without_one():
    left_out = Counter()
    nowhere = sentence("GPRMC,120000,A,0000.000,N,00000.000,E,0.0,0.0,010524,,,A")

    assert list(fixes_of_nmea([nowhere], left_out)) == []
    assert left_out == {"no fix": 1}


def test_of_two_sentences_on_one_line_each_is_read():
    # A logger that loses a line's end (common practice, no source).
    first, second = (
        sentence(f"GPGGA,12000{second},4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,")
        for second in (1, 2)
    )
    left_out = Counter()

    assert len(list(fixes_of_nmea([first.strip() + second], left_out))) == 2
    assert left_out == {}
