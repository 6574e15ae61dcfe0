"""Steps over many links at once, against one after the other."""

import numpy as np
import pytest

from trackkit.motion.strides import Strides


@pytest.mark.parametrize("links", [1, 2, 7, 13])
def test_any_way_from_link_to_link_is_the_product_of_its_steps(links):
    random = np.random.default_rng(3)
    step = random.normal(size=(links, 3, 3))
    begin, end = np.array([(a, b) for a in range(links + 1) for b in range(a, links + 1)]).T
    value = random.normal(size=(len(begin), 3, 2))

    followed = Strides(step).followed(value, begin, end)

    for row, (first, last) in enumerate(zip(begin, end, strict=True)):
        onward = value[row]
        for link in range(first, last):
            onward = step[link] @ onward
        np.testing.assert_allclose(followed[row], onward, rtol=1e-9, atol=1e-9)
