"""Which layout a whole recording was driven on."""

from dataclasses import replace

import numpy as np
import pytest
from library_entries import known_at, shifted
from two_layouts import BOTH, LONG, SHORT, chainage, recorded

from trackkit.library.known import Atlas
from trackkit.library.locate_drive import locate_drive
from trackkit.recordings.recording import Recording


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
            for name in (
                "time_s",
                "longitude_deg",
                "latitude_deg",
                "speed_mps",
                "course_deg",
                "elevation_m",
                "segment",
            )
            if getattr(recording, name) is not None
        },
    )

    located = locate_drive(BOTH, part)

    assert sorted(located.tied) == ["long", "short"]
    assert located.part_at_m == pytest.approx(295.0, abs=12.0)


def test_a_recording_that_does_not_move_is_located_by_its_first_fixes():
    # In the paddock, 100 m south of the straight that runs along y = -36.80 m.
    longitude, latitude = shifted((161.0, 47.0), -136.80, 0.0)
    shake = np.random.default_rng(1).normal(size=(2, 20)) * 1e-6
    still = Recording("still", np.arange(20.0), longitude + shake[0], latitude + shake[1])

    found = locate_drive(Atlas.of([known_at((161.0, 47.0))]), still)

    assert found.answer == "near"
    assert found.candidates[0].distance_m == pytest.approx(100.0, abs=0.5)


@pytest.mark.parametrize(("count", "moves"), [(1, False), (2, False), (3, True), (4, True)])
def test_three_fixes_that_lie_apart_make_a_drive(count, moves):
    whole = recorded(LONG)
    along = chainage(whole, LONG)
    at = [int(np.argmin(np.abs(along - 20.0 - 15.0 * n))) for n in range(count)]
    few = Recording(
        "few",
        whole.time_s[at] - whole.time_s[at[0]],
        whole.longitude_deg[at],
        whole.latitude_deg[at],
    )

    candidates = locate_drive(BOTH, few).candidates

    assert [candidate.probability is not None for candidate in candidates] == [moves] * 2


def test_one_stray_fix_at_the_start_does_not_mislead():
    latitude = np.full(20, 47.0)
    latitude[0] = 0.0
    stray = Recording("stray", np.arange(20.0), np.full(20, 161.0), latitude)
    atlas = Atlas.of([known_at((161.0, 47.0))])

    assert locate_drive(atlas, stray) == atlas.locate(161.0, 47.0)
