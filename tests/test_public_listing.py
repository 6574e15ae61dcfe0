"""Nothing public changes unnoticed: names, signatures and columns are those that are stored."""

from __future__ import annotations

import difflib

import pytest


@pytest.mark.slow
def test_public_names_signatures_and_columns_are_those_that_were_promised():
    pytest.importorskip("griffe")
    from public_listing import STORED, listing

    stored, now = STORED.read_text("utf-8"), listing()

    changes = "\n".join(
        line
        for line in difflib.unified_diff(stored.splitlines(), now.splitlines(), lineterm="", n=0)
        if line[:1] in "+-" and line[:3] not in ("+++", "---")
    )
    assert not changes, (
        "what is public has changed; if that is meant, announce it as DEVELOPERS.md says and renew "
        f"the listing with python tests/shared/public_listing.py:\n{changes}"
    )
