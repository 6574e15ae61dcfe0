"""NMEA 0183: the printed sentences, epochs, dates, midnight, damage."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from trackkit.errors import RecordingError
from trackkit.recordings.clean import clean
from trackkit.recordings.nmea.read import read_nmea
from trackkit.recordings.read import read_recording

# The two sentences that every text prints (common practice, no source).
PRINTED_RMC = "$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A"
PRINTED_GGA = "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47"


def sentence(body: str) -> str:
    """Add the checksum: the exclusive or of all characters between $ and * (NMEA 0183)."""
    value = 0
    for character in body:
        value ^= ord(character)
    return f"${body}*{value:02X}"


def rmc(
    time="120000.00", *, date="010524", talker="GP", status="A", minute="00.0000", speed="10.0"
):
    position = f"48{minute},N,16100.0000,E" if status == "A" else ",,,"
    return sentence(f"{talker}RMC,{time},{status},{position},{speed},90.0,{date},,,A")


def gga(time="120000.00", *, talker="GP", quality="1", minute="00.0000", height="500.0"):
    position = f"48{minute},N,16100.0000,E" if quality != "0" else ",,,"
    return sentence(f"{talker}GGA,{time},{position},{quality},09,1.0,{height},M,47.0,M,,")


def read(*lines: str, newline: str = "\r\n"):
    return read_nmea(newline.join(lines).encode("latin-1"), "log")


def recorded(*lines: str):
    return clean(read(*lines), "log")


def test_our_checksums_are_those_of_the_printed_sentences():
    assert sentence(PRINTED_RMC[1:-3]) == PRINTED_RMC
    assert sentence(PRINTED_GGA[1:-3]) == PRINTED_GGA


def test_the_printed_sentences_make_one_fix():
    raw = read(PRINTED_RMC, PRINTED_GGA)
    assert raw.time.tolist() == [np.datetime64("1994-03-23T12:35:19", "ns").astype(int)]
    assert raw.latitude_deg == pytest.approx(48 + 7.038 / 60, abs=1e-12)
    assert raw.longitude_deg == pytest.approx(11 + 31.0 / 60, abs=1e-12)
    # 22.4 international knots of 1,852 m an hour.
    assert raw.speed_mps == pytest.approx(22.4 * 1852 / 3600)
    assert raw.course_deg == [84.4]
    assert raw.elevation_m == [545.4]


def test_dilution_of_precision_is_not_made_an_accuracy():
    assert read(PRINTED_GGA).accuracy_m is None


def test_dilution_of_precision_is_kept_from_gga_and_gns():
    gns = sentence("GNGNS,123520.00,4807.0380,N,01131.0000,E,AA,14,0.7,545.4,46.9,,")
    assert read(PRINTED_GGA, gns).hdop.tolist() == [0.9, 0.7]
    assert read(PRINTED_RMC).hdop is None


def test_a_dilution_written_where_it_is_not_known_is_none():
    # 99.99 is what receivers write (common practice, no source).
    unknown = sentence("GPGGA,120000,4800.0,N,16100.0,E,1,04,99.99,500.0,M,47.0,M,,")
    empty = sentence("GPGGA,120001,4800.0,N,16100.0,E,1,04,,500.0,M,47.0,M,,")
    odd = sentence("GPGGA,120002,4800.0,N,16100.0,E,1,04,--,500.0,M,47.0,M,,")
    recording = recorded(unknown, empty, odd, gga("120003"))
    np.testing.assert_array_equal(recording.hdop, [np.nan, np.nan, np.nan, 1.0])
    assert recording.remarks == ()


def test_gst_gives_the_root_mean_square_of_two_horizontal_deviations():
    gst = sentence("GPGST,120000.00,6.6,,,,3.0,4.0,9.0")
    raw = read(rmc("120000"), gst, rmc("120001"))
    # sqrt((3² + 4²) / 2) = 5 / sqrt(2).
    np.testing.assert_allclose(raw.accuracy_m, [5 / np.sqrt(2), np.nan])


def test_gst_with_its_ellipse_only_gives_what_its_axes_would():
    # An ellipse of 5 m by 1 m turned by 30 degrees: covariance by rotation (linear algebra).
    turn = np.array(
        [[np.cos(np.pi / 6), -np.sin(np.pi / 6)], [np.sin(np.pi / 6), np.cos(np.pi / 6)]]
    )
    north, east = np.sqrt(np.diag(turn @ np.diag([25.0, 1.0]) @ turn.T))
    by_ellipse = sentence("GPGST,120000.00,6.6,5.0,1.0,30.0,,,9.0")
    by_axes = sentence(f"GPGST,120000.00,6.6,,,,{north:.9f},{east:.9f},9.0")
    accuracy = [read(rmc("120000"), gst).accuracy_m[0] for gst in (by_ellipse, by_axes)]
    np.testing.assert_allclose(accuracy, np.sqrt((25.0 + 1.0) / 2))


def test_gst_may_come_before_or_behind_the_position_of_its_time_and_else_is_left_out():
    gst = [sentence(f"GPGST,12000{n},6.6,,,,{n + 1}.0,{n + 1}.0,9.0") for n in range(4)]
    raw = read(gst[0], rmc("120000"), gga("120000"), rmc("120001"), gst[1], gga("120001"), gst[3])
    assert len(raw) == 2
    np.testing.assert_allclose(raw.accuracy_m, [1.0, 2.0])
    np.testing.assert_array_equal(raw.elevation_m, [500.0, 500.0])


@pytest.mark.parametrize("talker", ["GP", "GN", "GL", "GA", "BD", "GB", "GQ"])
def test_any_talker_is_heard(talker):
    raw = read(rmc(talker=talker), gga(talker=talker))
    assert len(raw) == 1
    assert raw.elevation_m == [500.0]


def test_south_and_west_are_negative():
    raw = read(sentence("GPRMC,120000,A,3354.600,S,15112.300,W,,,010524,,,A"))
    assert raw.latitude_deg == pytest.approx(-(33 + 54.6 / 60))
    assert raw.longitude_deg == pytest.approx(-(151 + 12.3 / 60))


def test_sentences_of_one_time_make_one_epoch_in_any_order():
    lines = [gga("120000.00"), rmc("120000"), rmc("120000.10"), gga("120000.1")]
    raw = read(*lines)
    assert len(raw) == 2
    np.testing.assert_array_equal(raw.elevation_m, [500.0, 500.0])
    assert np.diff(raw.time) == np.timedelta64(100, "ms")


def test_the_same_sentence_twice_is_a_duplicate_time():
    lines = [rmc("120000"), rmc("120000"), rmc("120001")]
    assert recorded(*lines).removed == {"duplicate time": 1}


def test_gns_gives_position_and_height():
    body = "GNGNS,120000.00,4807.0380,N,01131.0000,E,AA,14,0.7,545.4,46.9,,"
    raw = read(sentence(body))
    assert raw.latitude_deg == pytest.approx(48 + 7.038 / 60)
    assert raw.elevation_m == [545.4]


def test_a_gns_that_leaves_the_position_to_another_talker_does_not_lose_the_fix():
    empty = sentence("GLGNS,120000.00,,,,,NN,06,,,,,")
    full = sentence("GNGNS,120000.00,4807.0380,N,01131.0000,E,AA,14,0.7,545.4,46.9,,")
    raw = read(empty, full)
    assert len(raw) == 1
    assert raw.dropped == ()


def test_vtg_fills_in_speed_and_course_of_the_epoch_it_follows():
    vtg = sentence("GPVTG,054.7,T,034.4,M,005.5,N,010.2,K,A")
    raw = read(gga("120000"), vtg, gga("120001"))
    np.testing.assert_allclose(raw.speed_mps, [5.5 * 1852 / 3600, np.nan])
    np.testing.assert_allclose(raw.course_deg, [54.7, np.nan])


def test_vtg_with_kilometres_an_hour_only_is_read():
    raw = read(gga("120000"), sentence("GPVTG,054.7,T,,M,,N,36.0,K"))
    assert raw.speed_mps == pytest.approx(10.0)


def test_a_second_vtg_without_its_own_epoch_is_left_out():
    first = sentence("GPVTG,,T,,M,000.0,N,,K,A")
    second = sentence("GPVTG,099.9,T,,M,099.9,N,,K,A")
    raw = read(gga("120000"), first, gga("120001")[:-1] + "?", second)
    assert raw.speed_mps == [0.0]
    assert raw.course_deg is None


def test_a_wrong_and_a_missing_checksum_are_dropped_and_counted():
    wrong = rmc("120001").replace("*", "*0")[:-1]
    missing = rmc("120002").partition("*")[0]
    recording = recorded(rmc("120000"), wrong, missing, rmc("120003"))
    np.testing.assert_array_equal(recording.time_s, [0.0, 3.0])
    assert recording.remarks == (
        (
            "left out 2 NMEA sentences, damaged or with a wrong or missing checksum, "
            "the first at line 2"
        ),
    )


def test_a_right_checksum_over_unreadable_fields_is_damage_as_well():
    odd = sentence("GPRMC,120001,A,48xx.00,N,01100.0,E,,,010524,,,A")
    short = sentence("GPGGA,120002,4800.0")
    raw = read(rmc("120000"), odd, short)
    assert len(raw) == 1
    assert "2 NMEA sentences" in raw.remarks[0]


def test_no_right_checksum_at_all_is_an_error():
    with pytest.raises(RecordingError, match=r"right checksum .1 damaged sentence, the first at"):
        read(PRINTED_RMC[:-1] + "B")


def test_a_log_without_positions_is_an_error():
    with pytest.raises(RecordingError, match="holds no RMC, GGA or GNS sentence"):
        read(sentence("GPZDA,120000.00,01,05,2024,00,00"))


@pytest.mark.parametrize(
    "no_fix", [rmc("120001", status="V"), gga("120001", quality="0")], ids=["RMC V", "GGA 0"]
)
def test_an_epoch_marked_as_no_fix_is_removed_and_counted(no_fix):
    recording = recorded(rmc("120000"), no_fix, rmc("120002"))
    assert recording.removed == {"no fix": 1}
    assert recording.remarks == ("removed 1 of 3 fixes: 1 epoch without a fix",)


def test_sentences_before_the_receiver_knows_the_time_are_no_fix():
    cold = [sentence("GPRMC,,V,,,,,,,,,,N"), sentence("GPGGA,,,,,,0,00,99.99,,,,,,")]
    recording = recorded(*cold, *cold, rmc("120000"), rmc("120001"))
    assert recording.removed == {"no fix": 2}


def test_the_date_may_come_from_zda_only():
    zda = sentence("GPZDA,120001.00,29,02,2024,00,00")
    recording = recorded(gga("120000"), gga("120001"), zda, gga("120002"))
    assert recording.start == datetime(2024, 2, 29, 12, 0, 0, tzinfo=UTC)
    np.testing.assert_array_equal(recording.time_s, [0.0, 1.0, 2.0])


def test_a_date_given_without_a_fix_is_not_believed():
    zda = sentence("GPZDA,120000,06,01,1980,00,00")
    cold = rmc("120000", status="V", date="060180")
    recording = recorded(cold, zda, gga("120001"), rmc("120002"), rmc("120003"))
    assert recording.start == datetime(2024, 5, 1, 12, 0, 1, tzinfo=UTC)


def test_midnight_with_dates_is_crossed():
    recording = recorded(rmc("235959.50", date="310524"), rmc("000000.50", date="010624"))
    assert recording.start == datetime(2024, 5, 31, 23, 59, 59, 500_000, tzinfo=UTC)
    np.testing.assert_array_equal(recording.time_s, [0.0, 1.0])


def test_epochs_without_a_date_are_dated_across_midnight_in_both_directions():
    recording = recorded(gga("235958"), rmc("235959", date="311223"), gga("000000"), gga("000001"))
    assert recording.start == datetime(2023, 12, 31, 23, 59, 58, tzinfo=UTC)
    np.testing.assert_array_equal(recording.time_s, [0.0, 1.0, 2.0, 3.0])
    recording = recorded(gga("235959"), rmc("000000", date="010124"), gga("000001"))
    assert recording.start == datetime(2023, 12, 31, 23, 59, 59, tzinfo=UTC)


def test_midnight_without_any_date_counts_on():
    recording = recorded(gga("235959.25"), gga("000000.25"), gga("000001.25"))
    assert recording.start is None
    np.testing.assert_array_equal(recording.time_s, [0.0, 1.0, 2.0])


def test_a_sentence_late_across_midnight_does_not_shift_the_day():
    recording = recorded(
        *[gga(f"2359{n:02d}") for n in range(40, 60)], gga("000000"), gga("235959.5"), gga("000001")
    )
    assert recording.removed == {"time going backwards": 1}
    assert recording.duration_s == 21.0


def test_other_sentences_blank_lines_and_noise_are_passed_over_quietly():
    noise = [
        "",
        "booting...",
        sentence("GPGSA,A,3,04,05,,09,12,,,24,,,,,2.5,1.3,2.1"),
        "\xb5b\x01\x07",
    ]
    raw = read(rmc("120000"), *noise, "2024-05-01 12:00:01 " + rmc("120001"))
    assert len(raw) == 2
    assert raw.remarks == ()
    np.testing.assert_array_equal(raw.place, [1, 6])


def test_a_sentence_cut_off_by_the_next_on_its_line_costs_only_itself():
    raw = read(rmc("120000")[:20] + rmc("120001"))
    assert len(raw) == 1
    assert len(raw.remarks) == 1


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_line_ends_of_either_kind_are_read(newline):
    assert len(read(rmc("120000"), rmc("120001"), newline=newline)) == 2


def test_nmea_is_recognised_in_any_file(tmp_path):
    path = tmp_path / "drive.csv"
    path.write_text("\n".join(["log of an invented kart", rmc("120000"), rmc("120001")]))
    assert len(read_recording(path)) == 2
