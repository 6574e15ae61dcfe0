"""What is wrong with laps, and what channels were in them, as JSON."""

from trackkit.timing.channel_figures import ChannelFigures
from trackkit.timing.remarks import LapRemark


def test_a_remark_as_json_counts_sectors_from_one():
    remark = LapRemark("left", "left the line", 10.5, 12.0, 347.0, 4.5, (0, 2))

    assert remark.as_row() == {
        "kind": "left",
        "text": "left the line",
        "begin_s": 10.5,
        "end_s": 12.0,
        "chainage_m": 347.0,
        "aside_m": 4.5,
        "sectors": [1, 3],
    }


def test_what_a_remark_does_not_say_is_null():
    assert LapRemark("slow", "slow").as_row() == {
        "kind": "slow",
        "text": "slow",
        "begin_s": None,
        "end_s": None,
        "chainage_m": None,
        "aside_m": None,
        "sectors": [],
    }


def test_figures_of_a_channel_as_json_have_its_name_and_unit():
    figures = ChannelFigures("oil", "bar", 1.5, 4.25, 3.0)

    assert figures.title == "oil [bar]"
    assert figures.as_row() == {
        "name": "oil",
        "unit": "bar",
        "least": 1.5,
        "largest": 4.25,
        "mean": 3.0,
    }
    assert ChannelFigures("gear", None, None, None, None).title == "gear"
