"""What journeys and the tests of the documentation share."""

from __future__ import annotations

import importlib
import sys
from types import ModuleType

import pytest
from doc_pages import DOCS


@pytest.fixture(scope="session")
def tool() -> ModuleType:
    """docs/make_pictures.py, which runs walk-throughs and is no part of the package."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sys, "path", [str(DOCS), *sys.path])
        return importlib.import_module("make_pictures")
