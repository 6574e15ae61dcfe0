"""What journeys and the tests of the documentation share."""

from __future__ import annotations

import importlib
import os
import sys
from types import ModuleType

# Each worker has one core; more threads of linear algebra would only wait for each other.
# Set before NumPy is loaded, which reads it then.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

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
