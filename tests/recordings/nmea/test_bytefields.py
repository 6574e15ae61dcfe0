"""Numbers read from many fields at once are those float gives."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from trackkit.recordings.nmea.bytefields import numbers


def read_numbers(texts: list[str]):
    ends = np.cumsum([len(text.encode("latin-1")) + 1 for text in texts])
    starts = np.append(0, ends[:-1])
    block = np.frombuffer(",".join([*texts, ""]).encode("latin-1"), dtype=np.uint8)
    return numbers(block, starts, ends - 1)


@pytest.mark.slow
@given(st.lists(st.from_regex(r"-?[0-9]{0,9}\.?[0-9]{0,9}", fullmatch=True), min_size=1))
def test_numbers_are_exactly_those_float_gives(texts):
    value, readable = read_numbers(texts)
    for text, one, good in zip(texts, value, readable, strict=True):
        figures = text.strip("-.").replace(".", "")
        # Up to 15 figures, of which float64 tells every number apart (IEEE 754).
        assert good == (text == "" or 0 < sum(map(str.isdigit, text)) <= 15), figures
        if good and text:
            assert (one, np.signbit(one)) == (float(text), text.startswith("-"))
        else:
            assert np.isnan(one)


@pytest.mark.slow
@given(st.lists(st.text(st.characters(codec="latin-1", exclude_characters=","), max_size=20)))
def test_what_is_no_number_is_never_read_as_one(texts):
    value, readable = read_numbers(texts) if texts else ([], [])
    for text, one, good in zip(texts, value, readable, strict=True):
        if good and text:
            assert one == float(text)
