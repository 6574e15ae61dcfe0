"""Times read many at once are those read one by one."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from trackkit.recordings.times import ordinary_times, read_times


@given(
    st.lists(
        st.tuples(
            st.datetimes(datetime(1990, 1, 1), datetime(2099, 1, 1)),  # noqa: DTZ001
            st.sampled_from(["T", " "]),
            st.integers(0, 6),
            st.sampled_from(["Z", ""]),
        ),
        min_size=1,
    )
)
def test_ordinary_times_are_those_read_one_by_one(parts):
    texts = []
    for moment, letter, decimals, zone in parts:
        fraction = f".{moment.microsecond:06d}"[: decimals + 1] if decimals else ""
        texts.append(f"{moment:%Y-%m-%d}{letter}{moment:%H:%M:%S}{fraction}{zone}")
    quick = ordinary_times(texts)
    # datetime.fromisoformat reads ISO 8601.
    expected = [datetime.fromisoformat(text).replace(tzinfo=UTC) for text in texts]
    assert [t.replace(tzinfo=UTC) for t in quick.value.astype("M8[us]").tolist()] == expected
    slow = read_times(texts, np.full(len(texts), np.nan), None)
    np.testing.assert_array_equal(quick.value, slow.value)
    assert quick.remarks == slow.remarks


@pytest.mark.parametrize(
    "odd",
    [
        "",
        "2024-02-30T10:00:00Z",
        "2024-05-01T24:00:00Z",
        "2024-05-01T10:00:60Z",
        "2024-05-01",
        "2024-05-01T10:00:00+02:00",
        "2024-05-01T10:00:00.1234567Z",
        "2024-05-01T10:00Z",
        "NaT",
        "2024-05-01T10:00:00Z\n2024-05-01T10:00:01Z",
    ],
)
def test_times_out_of_the_ordinary_are_left_to_be_read_one_by_one(odd):
    assert ordinary_times(["2024-05-01T10:00:00Z", odd]) is None
