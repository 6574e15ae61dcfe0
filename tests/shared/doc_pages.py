"""README.md and docs/ as text."""

from __future__ import annotations

import re
from pathlib import Path

from checkout import ROOT

DOCS = ROOT / "docs"


def page_text(path: Path) -> str:
    return path.read_text("utf-8")


def blocks(path: Path, kind: str) -> list[str]:
    found = re.findall(rf"^```{kind}\n(.*?)^```$", page_text(path), re.MULTILINE | re.DOTALL)
    return [str(block) for block in found]
