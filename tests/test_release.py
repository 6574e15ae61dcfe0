"""What is handed out, the wheel and the sdist, where TRACKKIT_DIST names their folder."""

from __future__ import annotations

import os
import re
import tarfile
import tomllib
import zipfile
from email import message_from_string
from pathlib import Path

import pytest
from checkout import ROOT

# What is no Python module: sample circuits, the page's bundle, schemas, the wheel's own facts.
LARGEST_DATA_BYTES = 250_000
KINDS_IN_A_WHEEL = {".py", ".typed", ".json", ".geojson", ".html", ".css", ".js", ".txt"}


@pytest.fixture(scope="module")
def handed_out() -> Path:
    named = os.environ.get("TRACKKIT_DIST")
    if not named:
        pytest.skip("TRACKKIT_DIST names no folder with what `python -m build` made")
    return (ROOT / named).resolve()


@pytest.fixture(scope="module")
def wheel(handed_out) -> Path:
    (path,) = handed_out.glob("*.whl")
    return path


def links_of(text: str) -> list[str]:
    return re.findall(r"\]\(([^)\s]+)\)", text.replace("]\n(", "]("))


def test_the_addresses_of_the_project_are_plainly_no_real_ones_yet():
    # RFC 2606, section 2: nothing will ever stand at a name that ends in ".example".
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    assert set(project["urls"]) == {"Homepage", "Documentation", "Source", "Changelog"}
    for address in project["urls"].values():
        assert re.match(r"https://trackkit\.example(/|$)", address)
    assert "trackkit.example" in (ROOT / "DEVELOPERS.md").read_text("utf-8")


def test_the_readme_that_a_package_index_shows_leads_nowhere_relative(wheel):
    with zipfile.ZipFile(wheel) as archive:
        (name,) = [name for name in archive.namelist() if name.endswith("METADATA")]
        metadata = message_from_string(archive.read(name).decode("utf-8"))
    shown = links_of(metadata.get_payload())
    written = links_of((ROOT / "README.md").read_text("utf-8"))
    assert len(shown) == len(written) > 10
    for link, source in zip(shown, written, strict=True):
        if not source.startswith("#"):
            assert re.match(r"https://[^/]+/.*" + re.escape(source) + "$", link)


def test_the_wheel_holds_the_package_and_the_sample_circuits_only(wheel):
    with zipfile.ZipFile(wheel) as archive:
        names = archive.namelist()
    assert {name.split("/")[0] for name in names} == {"trackkit", "trackkit-0.1.0.dist-info"}
    assert "trackkit/tracks/pipwick-kart-circuit.geojson" in names
    assert "trackkit/py.typed" in names
    assert [name for name in names if name.endswith((".ipynb", ".md", ".map"))] == [
        name for name in names if name == "trackkit/tracks/README.md"
    ]


def test_the_wheel_holds_modules_and_little_else(wheel):
    with zipfile.ZipFile(wheel) as archive:
        members = archive.infolist()
    inside = [member for member in members if member.filename.startswith("trackkit/")]
    assert {Path(member.filename).suffix for member in inside} - {".md"} == KINDS_IN_A_WHEEL
    assert (
        sum(member.compress_size for member in members if not member.filename.endswith(".py"))
        <= LARGEST_DATA_BYTES
    )


def test_the_sdist_holds_the_pages_and_not_the_site_made_of_them(handed_out):
    (path,) = handed_out.glob("*.tar.gz")
    with tarfile.open(path) as archive:
        names = {name.partition("/")[2] for name in archive.getnames()}
    assert {"README.md", "docs/site/mkdocs.yml", "docs/notebooks/time-lost.ipynb"} <= names
    assert [name for name in names if name.endswith(".html") and "docs" in name] == []
    assert {name.split("/")[0] for name in names} == {
        "",
        "CHANGELOG.md",
        "DEVELOPERS.md",
        "LICENSE",
        "PKG-INFO",
        "README.md",
        ".gitignore",
        "docs",
        "pyproject.toml",
        "tests",
        "tracks",
        "trackkit",
    } - ({""} - names)
