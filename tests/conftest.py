"""What journeys and the tests of the documentation share."""

from __future__ import annotations

import importlib
import sys
from types import ModuleType

import pytest
from doc_pages import DOCS
from hypothesis import settings

# Tests share the cores, with each other and with whatever else runs: how long one example takes on
# the clock says nothing about the code.
settings.register_profile("trackkit", deadline=None)
settings.load_profile("trackkit")


@pytest.fixture(scope="session")
def tool() -> ModuleType:
    """docs/make_pictures.py, which runs walk-throughs and is no part of the package."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sys, "path", [str(DOCS), *sys.path])
        return importlib.import_module("make_pictures")
