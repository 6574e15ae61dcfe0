"""The curve between two fixes: a cubic where they are near in time, nearly its chord where not."""

import numpy as np
import pytest
from scipy.interpolate import CubicHermiteSpline

from trackkit.building.bridges import LONGEST_BEND_S, bridged, tangent_share


def test_up_to_what_a_fix_tells_of_the_course_the_whole_tangents_count():
    assert tangent_share(np.array([0.0, 0.04, 1.0, LONGEST_BEND_S])).tolist() == [1.0] * 4


@pytest.mark.parametrize("times", [2.0, 5.0, 40.0])
def test_tangents_span_the_same_time_however_long_the_way_to_the_next_fix_is(times):
    lasting_s = times * LONGEST_BEND_S

    assert tangent_share(np.array([lasting_s]))[0] * lasting_s == pytest.approx(LONGEST_BEND_S)


def test_over_a_long_gap_the_curve_keeps_nearer_to_the_chord():
    begin, end, velocity = np.zeros(2), np.array([900.0, 0.0]), np.array([15.0, 20.0])
    middle = []
    for share in (1.0, tangent_share(np.array(60.0))):
        tangent = 60.0 * velocity * share
        back = tangent * [1.0, -1.0]
        middle.append(bridged(begin, end, tangent, back, np.array([0.5]))[0][0, 1])

    # Worked by hand: in its middle a cubic is an eighth of the difference of its tangents aside.
    assert middle[0] == pytest.approx(60.0 * 40.0 / 8)
    assert middle[1] == pytest.approx(LONGEST_BEND_S * 40.0 / 8)


def test_it_is_the_cubic_of_scipy():
    random = np.random.default_rng(4)
    begin, end, ahead, ended = 50.0 * random.standard_normal((4, 2))
    share = np.linspace(0.0, 1.0, 9)
    spline = CubicHermiteSpline([0.0, 1.0], [begin, end], [ahead, ended])

    position, tangent = bridged(begin, end, ahead, ended, share)

    assert position == pytest.approx(spline(share))
    assert tangent == pytest.approx(spline(share, 1))
