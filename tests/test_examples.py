"""The examples in docstrings of public names run and give what they say."""

from __future__ import annotations

import doctest
import inspect

import pytest

import trackkit


def examples() -> list[doctest.DocTest]:
    finder = doctest.DocTestFinder(exclude_empty=True)
    found = []
    for name in sorted(trackkit._MODULES):
        public = getattr(trackkit, name)
        scope = vars(inspect.getmodule(public))
        found += [test for test in finder.find(public, name, globs=dict(scope)) if test.examples]
    return found


@pytest.mark.parametrize("example", examples(), ids=lambda example: example.name)
def test_an_example_gives_what_it_says(example):
    result = doctest.DocTestRunner(optionflags=doctest.ELLIPSIS).run(example)

    assert result.failed == 0
