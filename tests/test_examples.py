"""The examples in docstrings of public names run and give what they say."""

from __future__ import annotations

import doctest
import inspect

import pytest

import trackkit


def examples() -> list[doctest.DocTest]:
    finder = doctest.DocTestFinder(exclude_empty=True)
    collected = [example for example in finder.find(trackkit, "trackkit") if example.examples]
    for name in sorted(trackkit._MODULES):
        public = getattr(trackkit, name)
        scope = vars(inspect.getmodule(public))
        tests = finder.find(public, name, globs=dict(scope))
        collected += [test for test in tests if test.examples]
    return collected


@pytest.mark.slow
@pytest.mark.parametrize("example", examples(), ids=lambda example: example.name)
def test_an_example_gives_what_it_says(example, tmp_path, monkeypatch):
    # Examples write files, and ask the library of whoever runs them.
    monkeypatch.chdir(tmp_path)
    for name in ("XDG_DATA_HOME", "XDG_CACHE_HOME"):
        monkeypatch.setenv(name, str(tmp_path / name))
    monkeypatch.delenv("TRACKKIT_LIBRARY", raising=False)

    result = doctest.DocTestRunner(optionflags=doctest.ELLIPSIS).run(example)

    assert result.failed == 0


@pytest.mark.parametrize("name", sorted(trackkit._MODULES))
def test_every_public_name_has_an_example_that_is_run(name):
    public = getattr(trackkit, name)
    lines = doctest.DocTestParser().get_examples(inspect.getdoc(public) or "")

    assert lines
    assert not any(line.options.get(doctest.SKIP) for line in lines)
    # A function is called in its own; a class may be what another name gives.
    assert inspect.isclass(public) or any(f"{name}(" in line.source for line in lines)
