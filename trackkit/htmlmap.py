"""A track as one HTML page that needs no network."""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from typing import Any, Literal
from urllib.parse import urlsplit

import numpy as np
from markupsafe import Markup

from trackkit.caution import CAUTION
from trackkit.corners import WORTH_TELLING_M, find_bends
from trackkit.errors import OutputError
from trackkit.files import write_whole
from trackkit.findings import Finding
from trackkit.mapassets import (
    LEAFLET_LICENCE,
    csp_hash,
    leaflet_script,
    leaflet_style,
    own_file,
    safe_in_element,
    with_code,
)
from trackkit.mapspeed import Drive, SpeedScale, drive, speed_mps, speed_scale
from trackkit.recording import Recording
from trackkit.track import GATE_KINDS, Track

Tiles = Literal["street", "satellite"]
MERCATOR_LIMIT_DEG = 85.0
"""The web's Mercator projection ends at 85.05 degrees of latitude."""
FAR_M = 1000.0
"""A recording that never comes nearer to the track than this is said to lie elsewhere."""


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
        Drawn over it, coloured by speed.
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
    if np.abs(track.centreline.latitude_deg).max() > MERCATOR_LIMIT_DEG:
        raise OutputError(
            f"the track {track.name!r} lies beyond {MERCATOR_LIMIT_DEG:.0f} degrees of latitude, "
            "where the map's Mercator projection ends",
            remedy="export it and draw it in a polar projection",
        )
    from jinja2 import Environment

    from trackkit.maplayers import build_layers

    provider = None if tiles is None else _tile_provider(tiles)
    found = None if findings is None else list(findings)
    drives, scale = _drives(list(recordings), track)
    layers = build_layers(track, drives, found or [], provider)
    layers.map.render()
    figure = layers.map.get_root()

    settings = {
        "lines": [line.get_name() for line in layers.lines],
        "gateBars": [bar.get_name() for bar in layers.gate_bars],
        "bandHalf": round(0.5 * track.band_m, 1),
        "bounds": layers.bounds,
        "closeZoom": 18,
    }
    environment = Environment(autoescape=True, trim_blocks=True, lstrip_blocks=True)
    start = environment.from_string("trackkitMap.finish({{ chart }}, {{ settings|tojson }});")
    scripts = [
        "L_NO_TOUCH = false; L_DISABLE_3D = false;",
        leaflet_script(),
        safe_in_element(own_file("map.js")),
        safe_in_element(figure.script.render().strip()),
        start.render(chart=layers.map.get_name(), settings=settings),
    ]
    styles = [leaflet_style(), safe_in_element(own_file("map.css"))]
    page = environment.from_string(own_file("map.html")).render(
        policy=_policy(scripts, styles, None if provider is None else provider.build_url()),
        leaflet_licence=LEAFLET_LICENCE,
        styles=styles,
        scripts=scripts,
        tiles=tiles,
        caution=CAUTION,
        map_html=figure.html.render().strip(),
        **_words(track, title, found, drives, scale, layers),
    )
    return page.encode("utf-8", "replace").decode("utf-8")


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


def _tile_provider(tiles: str) -> Any:
    from xyzservices import providers  # type: ignore[import-untyped, unused-ignore]

    known = {"street": providers.OpenStreetMap.Mapnik, "satellite": providers.Esri.WorldImagery}
    if tiles not in known:
        raise OutputError(
            f"there are no tiles called {tiles!r}", remedy=f"choose {' or '.join(known)}"
        )
    return known[tiles]


def _policy(scripts: Sequence[str], styles: Sequence[str], tile_url: str | None) -> str:
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
            "base-uri 'none'",
            "form-action 'none'",
        ]
    )


def _drives(recordings: Sequence[Recording], track: Track) -> tuple[list[Drive], SpeedScale | None]:
    if not recordings:
        return [], None
    speeds = [speed_mps(recording) for recording in recordings]
    scale = speed_scale([speed for speed, _ in speeds])
    return [
        drive(recording, speed, derived, scale, track)
        for recording, (speed, derived) in zip(recordings, speeds, strict=True)
    ], scale


def _words(
    track: Track,
    title: str | None,
    findings: Sequence[Finding] | None,
    drives: Sequence[Drive],
    scale: SpeedScale | None,
    layers: Any,
) -> dict[str, Any]:
    """Everything the page says beside the map; the template escapes it."""
    from trackkit.maplayers import KIND_NAMES, metres

    return {
        "title": title or track.name,
        "subtitle": ", ".join(t for t in (title and track.name, track.layout) if t),
        "facts": _facts(track),
        "legend": _legend(track, findings or []),
        "toggles": [
            {"layer": layers.groups[name].get_name(), "text": text}
            for name, text, has in (
                ("band", "band", True),
                ("gates", "gates", track.gates),
                ("corners", "corners", track.corners),
                ("findings", "findings", findings),
            )
            if has
        ],
        "speeds": [] if scale is None else _speed_legend(scale),
        "derived": any(drive.derived for drive in drives),
        "drives": [
            {"layer": layer.get_name(), "name": drive.name, "text": _drive_text(drive)}
            for drive, layer in zip(drives, layers.drives, strict=True)
        ],
        "findings": None
        if findings is None
        else [
            {
                "number": number,
                "severity": finding.severity,
                "accepted": finding.accepted,
                "message": finding.message,
                "remedy": Markup(with_code(finding.remedy)),  # noqa: S704 - with_code escapes it
                "where": None if marker is None else marker.get_name(),
                "place": _finding_place(track, finding),
            }
            for number, (finding, marker) in enumerate(
                zip(findings, layers.finding_markers, strict=True), start=1
            )
        ],
        "gates": [
            {
                "name": gate.name,
                "kind": KIND_NAMES[gate.kind],
                "chainage": metres(gate.chainage_m, 1),
                "width": metres(gate.width_m, 1),
            }
            for gate in track.gates
        ],
        "datum": "finish gate" if track.closed else "start of the course",
        "corners": [
            {
                "number": corner.number,
                "name": corner.name,
                "turn": corner.turn,
                "radius": metres(corner.min_radius_m),
                "apex": metres(corner.apex_m),
            }
            for corner in track.corners
        ],
        "straights": [
            {"start": metres(straight.start_m), "length": metres(straight.length_m)}
            for straight in find_bends(track.curve)[1]
            if straight.length_m >= WORTH_TELLING_M
        ],
        "about": _about(track),
    }


def _facts(track: Track) -> str:
    facts = [f"{track.length_m:,.0f} m", "closed circuit" if track.closed else "point to point"]
    if track.direction:
        facts.append(track.direction)
    elif track.crossovers:
        facts.append("crosses over itself")
    if track.corners:
        facts.append(f"{len(track.corners)} corner{'s' if len(track.corners) > 1 else ''}")
    return ", ".join(facts)


def _legend(track: Track, findings: Sequence[Finding]) -> list[dict[str, str]]:
    from trackkit.maplayers import KIND_NAMES

    way = f" ({track.direction})" if track.direction else ""
    band = '<rect class="t-band" x="1" y="2" width="42" height="16"/>'
    line = '<path class="t-line" d="M1 10h42" stroke-width="1.6" stroke-dasharray="7 6"/>'
    arrow = (
        '<g class="arrow"><path class="under" d="M18 4 26 10 18 16"/>'
        '<path class="over" d="M18 4 26 10 18 16"/></g>'
    )
    legend = [
        {"picture": band, "text": _band_text(track)},
        {"picture": band + line + arrow, "text": f"Centreline; arrows show racing direction{way}"},
    ]
    present = {gate.kind for gate in track.gates}
    for kind in GATE_KINDS:
        if kind in present:
            bar = (
                f'{band}<path class="t-halo" d="M22 0v20" stroke-width="8"/>'
                f'<path class="t-{kind}" d="M22 0v20" stroke-width="4.5"/>'
            )
            name = KIND_NAMES[kind].capitalize()
            legend.append({"picture": bar, "text": f"{name} gate"})
    if track.corners:
        disc = (
            '<rect class="t-chip" x="12" y="1" width="20" height="18" rx="9"/>'
            '<text class="t-ink" x="22" y="14.5" text-anchor="middle">3</text>'
        )
        legend.append(
            {
                "picture": disc,
                "text": "Corner, numbered from the finish gate in racing direction"
                if track.closed
                else "Corner, numbered from the start",
            }
        )
    if track.pit_lanes:
        lane = '<path class="t-pit" d="M1 10h42" stroke-width="3" stroke-dasharray="6 5"/>'
        legend.append({"picture": lane, "text": "Pit lane"})
    if track.crossovers:
        edges = (
            '<path class="t-bridge-under" d="M1 3h42M1 17h42" stroke-width="5.5"/>'
            '<path class="t-bridge" d="M1 3h42M1 17h42" stroke-width="2.5"/>'
        )
        legend.append({"picture": band + edges, "text": "Bridge: this piece of track is on top"})
    if findings:
        ring = (
            '<circle class="t-halo" fill="none" stroke-width="5" cx="22" cy="10" r="7"/>'
            '<circle class="t-ring" stroke-width="2" cx="22" cy="10" r="7"/>'
        )
        legend.append(
            {"picture": ring, "text": "Place of a finding; its label says error, warning or note"}
        )
    return legend


def _band_text(track: Track) -> str:
    line = track.centreline
    if line.width_profile:
        widths = [left + right for _, left, right in line.width_profile]
        return f"Band where cars run, {min(widths):.1f} to {max(widths):.1f} m wide"
    if line.width_m:
        return f"Band where cars run, {line.width_m:.1f} m wide"
    return (
        f"Band where cars run, {track.band_m:.0f} m wide (assumed: the track file gives no width)"
    )


def _speed_legend(scale: SpeedScale) -> list[dict[str, str]]:
    from trackkit.maplayers import SPEED_STYLES

    band = '<rect class="t-band" x="1" y="1" width="42" height="18"/>'
    return [
        {
            "picture": f'{band}<path d="M1 10h42" stroke="{colour}" stroke-width="{weight}"/>',
            "text": label,
        }
        for (colour, weight), label in zip(SPEED_STYLES, scale.labels(), strict=True)
    ]


def _drive_text(drive: Drive) -> str:
    minutes, seconds = divmod(round(drive.duration_s), 60)
    fixes = "1 fix" if drive.fix_count == 1 else f"{drive.fix_count:,} fixes"
    text = f"{fixes} in {minutes} min {seconds:02d} s"
    text += f", top speed {drive.top_kmh:.0f} km/h"
    if drive.derived:
        text += " (from positions)"
    if drive.distance_m > FAR_M:
        text += f"; lies {drive.distance_m / 1000:,.1f} km from this track"
    return text


def _finding_place(track: Track, finding: Finding) -> str:
    if finding.chainage_m is not None:
        return f"at {finding.chainage_m:,.0f} m"
    names = {gate.id: gate.name for gate in track.gates}
    if finding.feature in names:
        return f"gate {names[finding.feature]}"
    return "" if finding.position is not None else "the whole track"


def _about(track: Track) -> list[tuple[str, str]]:
    rows = [
        ("Track file id", track.id),
        ("Country", track.country or ""),
        ("Revised", track.revised),
        ("Length at its height and along its slope", _metres_or_nothing(track.length_surface_m)),
        (
            "The centreline is",
            "the line driven" if track.line == "driven" else "the middle of the tarmac",
        ),
        ("Accuracy of the line", _metres_or_nothing(track.accuracy_m)),
        ("Licence of the track file", track.licence or ""),
        ("Notes", track.notes),
    ]
    return [(term, text) for term, text in rows if text]


def _metres_or_nothing(value: float | None) -> str:
    return "" if value is None else f"{value:,.1f} m"
