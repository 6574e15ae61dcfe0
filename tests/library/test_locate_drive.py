"""Which layout a whole recording was driven on."""

from dataclasses import replace

import numpy as np
import pytest
from two_layouts import BOTH, LONG, SHORT, chainage, recorded

from trackkit.library.locate_drive import locate_drive


@pytest.mark.parametrize(("road", "expected"), [(LONG, "long"), (SHORT, "short")])
def test_a_recording_tells_layout_and_direction(road, expected):
    located = locate_drive(BOTH, recorded(road, laps=2.0))

    assert located.answer == "at"
    assert located.candidates[0].id == expected
    assert located.candidates[0].probability > 0.95
    assert located.candidates[0].distance_m < 5.0
    assert located.tied == ()


def test_a_recording_that_ends_before_the_layouts_part_is_a_tie_with_the_place_they_part_at():
    recording = recorded(LONG, noise=0.3)
    short = np.flatnonzero(chainage(recording, LONG) < 180.0)
    part = replace(
        recording,
        **{
            name: getattr(recording, name)[short]
            for name in ("time_s", "longitude_deg", "latitude_deg", "speed_mps", "course_deg",
                         "elevation_m", "segment")
            if getattr(recording, name) is not None
        },
    )  # fmt: skip

    located = locate_drive(BOTH, part)

    assert sorted(located.tied) == ["long", "short"]
    assert located.part_at_m == pytest.approx(295.0, abs=12.0)
