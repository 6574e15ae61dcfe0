"""A track as one HTML page: a file that needs no network, or the page that gates are edited on."""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise
from typing import Any, Literal
from urllib.parse import urlsplit

import numpy as np

from trackkit.errors import OutputError
from trackkit.files import write_whole
from trackkit.findings import Finding, finding_row
from trackkit.mapassets import (
    LEAFLET_LICENCE,
    csp_hash,
    leaflet_script,
    leaflet_style,
    own_file,
    safe_in_element,
)
from trackkit.recording import Recording
from trackkit.track import GATE_KINDS, Track

Tiles = Literal["street", "satellite"]
MERCATOR_LIMIT_DEG = 85.0
"""The web's Mercator projection ends at 85.05 degrees of latitude."""
SCRIPTS = ("data", "mapground", "maplabels", "mapview", "chartview", "tables", "page")
EDITING_SCRIPTS = ("data", "mapground", "maplabels", "mapview", "chartview", "tables", "editing",
                   "dragging", "dialogs", "keyboard", "page")  # fmt: skip
# Okabe and Ito's palette (Color Universal Design, 2008; from memory), cold to warm by speed: the
# order and the light middle hold for the common kinds of colour blindness, and width tells too.
SPEED_STYLES: tuple[tuple[str, float], ...] = (
    ("#0072b2", 1.6),
    ("#56b4e9", 2.2),
    ("#f0e442", 2.8),
    ("#e69f00", 3.6),
    ("#d55e00", 4.6),
)
KIND_NAMES = {
    "finish": "finish",
    "start": "start",
    "sector": "sector",
    "speed": "speed",
    "pit-entry": "pit entry",
    "pit-exit": "pit exit",
}


def map_html(
    track: Track,
    *,
    recordings: Iterable[Recording] = (),
    findings: Iterable[Finding] | None = None,
    tiles: Tiles | None = None,
    title: str | None = None,
) -> str:
    """Draw a track as one HTML page that works with no network at all.

    Parameters
    ----------
    track
        The track.
    recordings
        Drawn over it, coloured by speed; their laps are listed, and drawn along the chainage.
    findings
        What a check had to say; an empty list is shown as "0 findings", None shows no list.
    tiles
        Ask for a background: OpenStreetMap's standard tiles, or aerial pictures.  The page then
        contacts the host that serves them, and no other.
    title
        Heading of the page, instead of the track's name.

    Returns
    -------
    str
        The page.  The same input gives the same page.

    Raises
    ------
    OutputError
        When the track lies beyond 85 degrees of latitude, or `tiles` is unknown.
    """
    _require_mercator(track.name, track.centreline.latitude_deg)
    provider = None if tiles is None else _tile_provider(tiles)
    from trackkit.editing import state
    from trackkit.pagedata import base_document
    from trackkit.retiming import evaluate, prepare

    prepared = prepare(track, list(recordings))
    known = evaluate(track, prepared)
    reports = known.reports or [None] * len(prepared.drives)
    base = base_document(
        track,
        [
            (drive, () if report is None else report.laps)
            for drive, report in zip(prepared.drives, reports, strict=True)
        ],
        known.quality,
    )
    told = state(track, prepared)
    found = None if findings is None else list(findings)
    told["findings"] = None if found is None else [finding_row(one) for one in found]
    for gate in told["gates"]:
        gate["findings"] = [n for n, one in enumerate(found or []) if one.feature == gate["id"]]
    return _page(base, told, None, provider=provider, title=title)


def edit_html(base: Mapping[str, Any], state: Mapping[str, Any], session: Mapping[str, Any]) -> str:
    """Make the page that gates are edited on.

    Parameters
    ----------
    base
        From `trackkit.pagedata.base_document`.
    state
        From `trackkit.editing.state`.
    session
        What the page needs to know of the server that answers it.

    Raises
    ------
    OutputError
        When the track lies beyond 85 degrees of latitude.
    """
    line = base["line"]["lat"]
    _require_mercator(base["track"]["name"], np.array([line["zero"]]))
    return _page(base, state, session)


def write_map(
    track: Track,
    path: str | os.PathLike[str],
    *,
    recordings: Iterable[Recording] = (),
    findings: Iterable[Finding] | None = None,
    tiles: Tiles | None = None,
    title: str | None = None,
    force: bool = False,
) -> None:
    """Write `map_html` to a file, whole or not at all.

    Raises
    ------
    OutputError
        When the file exists and `force` is false, or cannot be written; see `map_html` too.
    """
    page = map_html(track, recordings=recordings, findings=findings, tiles=tiles, title=title)
    write_whole(path, page, force=force)


def _page(
    base: Mapping[str, Any],
    state: Mapping[str, Any],
    session: Mapping[str, Any] | None,
    *,
    provider: Any | None = None,
    title: str | None = None,
) -> str:
    from jinja2 import Environment

    environment = Environment(autoescape=True, trim_blocks=True, lstrip_blocks=True)
    tiles = None
    if provider is not None:
        tiles = {"url": provider.build_url(), "attribution": provider.html_attribution}
    start = environment.from_string("trackkit.open({{ tiles|tojson }});").render(tiles=tiles)
    scripts = [
        leaflet_script(),
        *(
            safe_in_element(own_file(f"page/{name}.js"))
            for name in (SCRIPTS if session is None else EDITING_SCRIPTS)
        ),
        start,
    ]
    styles = [leaflet_style(), safe_in_element(own_file("page/page.css"))]
    documents = {"base": base, "state": state} | ({} if session is None else {"session": session})
    page = environment.from_string(own_file("page/page.html")).render(
        policy=_policy(scripts, styles, None if tiles is None else tiles["url"], session),
        leaflet_licence=LEAFLET_LICENCE,
        styles=styles,
        scripts=scripts,
        documents=[(name, _json(document)) for name, document in documents.items()],
        editing=session is not None,
        tiles=tiles,
        **_words(base, state, title),
    )
    return page.encode("utf-8", "replace").decode("utf-8")


def _json(document: Any) -> str:
    r"""Write JSON for a script element: no ``<`` in it can begin or end anything in HTML."""
    text = json.dumps(document, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")


def _require_mercator(name: str, latitude_deg: Any) -> None:
    if np.abs(latitude_deg).max() > MERCATOR_LIMIT_DEG:
        raise OutputError(
            f"the track {name!r} lies beyond {MERCATOR_LIMIT_DEG:.0f} degrees of latitude, "
            "where the map's Mercator projection ends",
            remedy="export it and draw it in a polar projection",
        )


def _tile_provider(tiles: str) -> Any:
    from xyzservices import providers  # type: ignore[import-untyped, unused-ignore]

    known = {"street": providers.OpenStreetMap.Mapnik, "satellite": providers.Esri.WorldImagery}
    if tiles not in known:
        raise OutputError(
            f"there are no tiles called {tiles!r}", remedy=f"choose {' or '.join(known)}"
        )
    return known[tiles]


def _policy(
    scripts: Sequence[str],
    styles: Sequence[str],
    tile_url: str | None,
    session: Mapping[str, Any] | None,
) -> str:
    """Allow exactly this page's scripts and styles, and pictures from the tile host if any.

    Content Security Policy Level 3 (W3C).  A name that got past the escaping could then still
    neither run a script nor fetch anything.
    """
    pictures = "data:"
    if tile_url is not None:
        parts = urlsplit(tile_url)
        pictures += f" {parts.scheme}://{parts.netloc}"
    return "; ".join(
        [
            "default-src 'none'",
            "script-src " + " ".join(csp_hash(text) for text in scripts),
            "style-src " + " ".join(csp_hash(text) for text in styles),
            f"img-src {pictures}",
            *([] if session is None else ["connect-src 'self'"]),
            "base-uri 'none'",
            "form-action 'none'",
        ]
    )


def _words(base: Mapping[str, Any], state: Mapping[str, Any], title: str | None) -> dict[str, Any]:
    """Everything the page says that never changes; the template escapes it."""
    track = base["track"]
    recordings = base["recordings"]
    drawn = any(one["fixes"] is not None for one in recordings)
    kinds = {gate["kind"] for gate in state["gates"]}
    return {
        "title": title or track["name"],
        "subtitle": ", ".join(t for t in (title and track["name"], track["layout"]) if t),
        "facts": _facts(base),
        "datum": "finish gate" if track["closed"] else "start of the course",
        "quality": None if base["quality"] is None else base["quality"]["basis"],
        "legend": _legend(base, kinds),
        "speeds": _speed_legend(base["speed_bounds_kmh"]) if drawn else [],
        "drawn": drawn,
        "recordings": [
            {
                "name": one["file"],
                "text": _recording_text(one),
                "drawn": one["fixes"] is not None,
            }
            for one in recordings
        ],
        "corners": len(base["corners"]),
        "straights": len(base["straights"]),
        "caution": base["caution"],
        "about": _about(track),
    }


def _facts(base: Mapping[str, Any]) -> str:
    track = base["track"]
    facts = [
        f"{track['length_m']:,.0f} m",
        "closed circuit" if track["closed"] else "point to point",
    ]
    if track["direction"]:
        facts.append(track["direction"])
    elif base["bridges"]:
        facts.append("crosses over itself")
    if base["corners"]:
        facts.append(f"{len(base['corners'])} corner{'s' if len(base['corners']) > 1 else ''}")
    return ", ".join(facts)


def _legend(base: Mapping[str, Any], kinds: set[str]) -> list[dict[str, str]]:
    track = base["track"]
    way = f" ({track['direction']})" if track["direction"] else ""
    band = '<rect class="t-band" x="1" y="2" width="42" height="16"/>'
    line = '<path class="t-line" d="M1 10h42" stroke-width="1.6" stroke-dasharray="7 6"/>'
    arrow = (
        '<g class="arrow"><path class="under" d="M18 4 26 10 18 16"/>'
        '<path class="over" d="M18 4 26 10 18 16"/></g>'
    )
    legend = [
        {"picture": band, "text": _band_text(base)},
        {"picture": band + line + arrow, "text": f"Centreline; arrows show racing direction{way}"},
    ]
    for kind in GATE_KINDS:
        # Gates placed later on the page are of kinds that its menu names.
        if kind in kinds:
            bar = (
                f'{band}<path class="t-halo" d="M22 0v20" stroke-width="8"/>'
                f'<path class="t-{kind}" d="M22 0v20" stroke-width="4.5"/>'
            )
            legend.append({"picture": bar, "text": f"{KIND_NAMES[kind].capitalize()} gate"})
    if base["corners"]:
        disc = (
            '<rect class="t-chip" x="12" y="1" width="20" height="18" rx="9"/>'
            '<text class="t-ink" x="22" y="14.5" text-anchor="middle">3</text>'
        )
        counted = "finish gate in racing direction" if track["closed"] else "start"
        legend.append({"picture": disc, "text": f"Corner, numbered from the {counted}"})
    if base["pit_lanes"]:
        lane = '<path class="t-pit" d="M1 10h42" stroke-width="3" stroke-dasharray="6 5"/>'
        legend.append({"picture": lane, "text": "Pit lane"})
    if base["bridges"]:
        edges = (
            '<path class="t-bridge-under" d="M1 3h42M1 17h42" stroke-width="5.5"/>'
            '<path class="t-bridge" d="M1 3h42M1 17h42" stroke-width="2.5"/>'
        )
        legend.append({"picture": band + edges, "text": "Bridge: this piece of track is on top"})
    return legend


def _band_text(base: Mapping[str, Any]) -> str:
    low, high = base["line"]["band_m"]
    if not base["track"]["band_known"]:
        return f"Band where cars run, {low:.0f} m wide (assumed: the track file gives no width)"
    if high - low > 0.05:
        return f"Band where cars run, {low:.1f} to {high:.1f} m wide"
    return f"Band where cars run, {low:.1f} m wide"


def _speed_legend(bounds_kmh: Sequence[int]) -> list[dict[str, str]]:
    band = '<rect class="t-band" x="1" y="1" width="42" height="18"/>'
    between = [f"{a} to {b} km/h" for a, b in pairwise(bounds_kmh)]
    labels = [f"under {bounds_kmh[0]} km/h", *between, f"{bounds_kmh[-1]} km/h and over"]
    return [
        {
            "picture": f'{band}<path d="M1 10h42" stroke="{colour}" stroke-width="{weight}"/>',
            "text": label,
        }
        for (colour, weight), label in zip(SPEED_STYLES, labels, strict=True)
    ]


def _recording_text(row: Mapping[str, Any]) -> str:
    minutes, seconds = divmod(round(row["duration_s"]), 60)
    fixes = "1 fix" if row["fix_count"] == 1 else f"{row['fix_count']:,} fixes"
    text = f"{fixes} in {minutes} min {seconds:02d} s, top speed {3.6 * row['top_mps']:.0f} km/h"
    if row["every"] is None:
        text += f"; lies {row['away_m'] / 1000:,.1f} km from this track, so it is not drawn"
    elif row["every"] > 1:
        text += f"; drawn from one fix in {row['every']}"
    return text


def _about(track: Mapping[str, Any]) -> list[tuple[str, str]]:
    rows = [
        ("Track file id", track["id"]),
        ("Country", track["country"] or ""),
        ("Revised", track["revised"]),
        ("Length at its height and along its slope", _metres(track["length_surface_m"])),
        (
            "The centreline is",
            "the line driven" if track["line"] == "driven" else "the middle of the tarmac",
        ),
        ("Accuracy of the line", _metres(track["accuracy_m"])),
        ("Licence of the track file", track["licence"] or ""),
        ("Notes", track["notes"]),
    ]
    return [(term, text) for term, text in rows if text]


def _metres(value: float | None) -> str:
    return "" if value is None else f"{value:,.1f} m"
