"""The HTML map as a file: what it loads, and what a hostile name can do to it."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from dataclasses import replace

import pytest
from lxml import html as lxml_html
from oval_page import FINDINGS, oval, session, text_of

from trackkit.caution import TILES_PRIVACY
from trackkit.errors import OutputError
from trackkit.pages.html import map_html, write_map
from trackkit.remedies import Remedy

HOSTILE = (
    "<img src=x onerror=alert(1)>`${alert(2)}`</script><script>window.harmed=1</script>"
    "\u2028\"'\\ <!-- </style>"
)


def scripts_of(page: str) -> str:
    return "\n".join(lxml_html.fromstring(page).xpath("//script/text()"))


def test_page_has_language_title_and_viewport(page: str) -> None:
    tree = lxml_html.fromstring(page)
    assert tree.get("lang") == "en"
    assert tree.findtext(".//title") == "Hollow Oval (invented)"
    assert tree.xpath("//meta[@name='viewport']/@content") == [
        "width=device-width, initial-scale=1"
    ]


# what the page loads


def loads_of(page: str) -> list[str]:
    """Every address the page would fetch by itself (HTML Living Standard; CSS url and @import)."""
    tree = lxml_html.fromstring(page)
    found = tree.xpath("//@src|//@srcset|//@poster|//@data|//link/@href|//object/@data|//@xlink")
    for style in [*tree.xpath("//style/text()"), *tree.xpath("//@style")]:
        found += re.findall(r"url\(\s*['\"]?([^)'\"]+)", style)
        found += re.findall(r"@import[^;]+", style)
    return [address for address in found if not address.startswith(("data:", "#"))]


def test_page_refers_to_nothing_outside_itself(page: str) -> None:
    assert loads_of(page) == []
    assert "sourceMappingURL" not in page
    for host in ("cdn.", "googleapis", "jquery", "bootstrap", "fontawesome"):
        assert host not in page.lower()


def test_policy_allows_no_host_unless_tiles_are_named(page: str) -> None:
    assert "https:" not in policy_of(page)
    assert policy_of(page).startswith("default-src 'none';")


TILES = "https://tiles.example.org:8443/{z}/{x}/{y}.png?key=k"


def test_tiles_come_only_from_the_host_named_and_with_its_credit(page: str) -> None:
    with_tiles = map_html(oval(), tiles=TILES, credit="Pictures <by> Nobody & Co")
    pictures = re.search(r"img-src ([^;]+);", policy_of(with_tiles))[1]
    assert pictures == "data: https://tiles.example.org:8443"
    start = scripts_of(with_tiles).partition("trackkit.open(")[2]
    given, _ = json.JSONDecoder().raw_decode(start)
    # Leaflet takes the credit as HTML.
    assert given == {"url": TILES, "attribution": "Pictures &lt;by&gt; Nobody &amp; Co"}
    assert loads_of(with_tiles) == []
    assert "example.org" not in page


def test_a_page_with_tiles_says_what_their_server_learns(page: str) -> None:
    said = text_of(map_html(oval(), tiles=TILES, credit="X"))
    assert f"come from tiles.example.org:8443 whenever this page is open. {TILES_PRIVACY}" in said
    assert TILES_PRIVACY not in text_of(page)


def policy_of(page: str) -> str:
    (policy,) = lxml_html.fromstring(page).xpath(
        "//meta[@http-equiv='Content-Security-Policy']/@content"
    )
    return policy


# what a hostile name can do


@pytest.fixture(scope="module")
def hostile_page() -> str:
    track = oval()
    track = replace(
        track,
        name=HOSTILE,
        layout=HOSTILE,
        notes=HOSTILE,
        licence=HOSTILE,
        gates=tuple(replace(g, id=HOSTILE + g.id, name=HOSTILE) for g in track.gates),
        corners=tuple(replace(c, name=HOSTILE) for c in track.corners),
    )
    return map_html(
        track,
        recordings=[session(track).renamed(HOSTILE)],
        findings=[
            replace(
                f,
                message=HOSTILE,
                remedy=Remedy(HOSTILE),
                feature=f.feature and HOSTILE + f.feature,
            )
            for f in FINDINGS
        ],
    )


def test_hostile_names_add_no_element(page: str, hostile_page: str) -> None:
    def elements(text: str) -> tuple[set[str], int, int]:
        kinds = [e.tag for e in lxml_html.fromstring(text).iter() if isinstance(e.tag, str)]
        # What stands between backticks in a remedy is set as code; that is no harm.
        return set(kinds) - {"code"}, kinds.count("script"), kinds.count("style")

    assert elements(hostile_page) == elements(page)


def test_hostile_names_show_as_they_are_spelled(hostile_page: str) -> None:
    heading = lxml_html.fromstring(hostile_page).findtext(".//h1/bdi")
    assert heading == HOSTILE


def test_name_with_a_lone_surrogate_can_still_be_written(tmp_path) -> None:
    # JSON's \\ud800 escape makes such a string, which UTF-8 cannot hold (RFC 8259, section 8.2).
    write_map(oval(name="Odd \ud800 name"), tmp_path / "map.html")
    assert "Odd ? name" in (tmp_path / "map.html").read_text("utf-8")


def test_every_script_and_style_is_allowed_by_its_hash(hostile_page: str) -> None:
    import base64
    import hashlib

    for kind in ("script", "style"):
        for text in re.findall(rf"<{kind}>(.*?)</{kind}>", hostile_page, flags=re.DOTALL):
            digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
            assert f"'sha256-{digest}'" in policy_of(hostile_page)


# size, sameness, places


def test_same_input_makes_the_same_page(page: str) -> None:
    track = oval()
    assert map_html(track, recordings=[session(track)], findings=FINDINGS) == page


def test_track_at_78_degrees_north_is_drawn() -> None:
    assert "Finish" in text_of(map_html(oval(0.0, 78.2)))


def test_track_beyond_the_mercator_limit_is_refused() -> None:
    with pytest.raises(OutputError, match="Mercator"):
        map_html(oval(0.0, 86.0))


# writing


def test_map_replaces_no_file_unless_forced(tmp_path) -> None:
    path = tmp_path / "map.html"
    path.write_text("mine")
    with pytest.raises(OutputError, match="exists already"):
        write_map(oval(), path)
    assert path.read_text() == "mine"
    write_map(oval(), path, force=True)
    assert path.read_text("utf-8") == map_html(oval())


@pytest.mark.slow
def test_importing_the_map_loads_no_heavy_library() -> None:
    code = (
        "import sys, trackkit.pages.html;"
        "print([name for name in ('pandas', 'jinja2', 'scipy') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
