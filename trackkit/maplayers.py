"""The layers of a map: what folium is asked to draw, from the ground up.

This module imports folium, which takes a second; `htmlmap` imports it only when a map is made.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any

import folium
import numpy as np
from branca.element import Element, MacroElement
from jinja2 import Template

from trackkit.findings import Finding
from trackkit.geodesy import Floats, bearing_deg
from trackkit.mapassets import with_code
from trackkit.mapgeometry import (
    LatLon,
    arrows,
    band,
    bridge_edges,
    centreline,
    to_map,
)
from trackkit.mapspeed import Drive
from trackkit.track import Corner, Gate, PitLane, Track

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
SMOOTH_FACTOR = 0.3
"""How many pixels Leaflet may leave off a line; its usual 1 makes corners look like polygons."""
_PANES = {"band": 410, "drive": 420, "line": 430, "gates": 440, "findings": 450}
_LABEL_RANK = {"finish": 0, "start": 0, "error": 1, "warning": 3, "note": 6}


@dataclass(frozen=True)
class Layers:
    """A folium map with everything on it, and the script names of what a page refers to."""

    map: Any
    groups: dict[str, Element]
    drives: list[Element]
    lines: list[Element]
    gate_bars: list[Element]
    finding_markers: list[Element | None]
    bounds: list[LatLon]


class _Words(MacroElement):  # type: ignore[misc, unused-ignore]
    """Tooltip and popup of a layer, handed over as JSON strings, which no name can break out of.

    folium's own put their text into JavaScript template literals and need jQuery.
    """

    _template = Template(
        """{% macro script(this, kwargs) %}
        {{ this._parent.get_name() }}
            .bindTooltip({{ this.tooltip|tojson }}, {direction: "auto", sticky: true})
            .bindPopup({{ this.popup|tojson }}, {maxWidth: 260, maxHeight: 240})
            .on("popupopen", function () { this.closeTooltip(); });
        {% endmacro %}"""
    )

    def __init__(self, tooltip: str, popup: str) -> None:
        super().__init__()  # type: ignore[no-untyped-call, unused-ignore]
        self._name = "Words"
        self.tooltip = tooltip
        self.popup = popup


class _DriveLayer(MacroElement):  # type: ignore[misc, unused-ignore]
    """A recording on a canvas of its own: folium's lines cannot say which renderer draws them."""

    _template = Template(
        """{% macro script(this, kwargs) %}
        var {{ this.get_name() }} = trackkitMap.drive(
            {{ this.lines_json }}, {{ this.styles|tojson }}, "drive"
        ).addTo({{ this._parent.get_name() }});
        {% endmacro %}"""
    )

    def __init__(self, drive: Drive) -> None:
        super().__init__()  # type: ignore[no-untyped-call, unused-ignore]
        self._name = "Drive"
        self.lines_json = drive.lines_json
        self.styles = [{"colour": colour, "weight": weight} for colour, weight in SPEED_STYLES]


def build_layers(
    track: Track, drives: Sequence[Drive], findings: Sequence[Finding], tiles: Any | None
) -> Layers:
    """Draw a track, drives and findings on a folium map that holds none of folium's defaults."""
    plane = track.plane
    chart = folium.Map(
        location=[plane.latitude_deg, plane.longitude_deg],
        tiles=None,
        zoom_start=15,
        control_scale=True,
        zoom_snap=0.25,
        zoom_delta=0.5,
    )
    chart.options["maxZoom"] = 23
    if tiles is not None:
        folium.TileLayer(tiles, max_zoom=23, max_native_zoom=19).add_to(chart)
    for name, z_index in _PANES.items():
        folium.map.CustomPane(
            name, z_index=z_index, pointer_events=name in ("gates", "findings")
        ).add_to(chart)

    groups: dict[str, Element] = {}
    for name in ("band", "line", "pit", "bridges", "gates", "corners", "findings"):
        groups[name] = folium.FeatureGroup(name=name).add_to(chart)

    outline = band(track)
    line = centreline(track)
    for part in outline:
        area = folium.Polygon(part, fill=True, smooth_factor=SMOOTH_FACTOR)
        _styled(area, "t-band", "band").add_to(groups["band"])
    drawn = _line(line, "t-line", "line", weight=1.6, dash_array="7 6").add_to(groups["line"])
    lines = [drawn]
    for arrow in arrows(track):
        _arrow(arrow.place, arrow.bearing_deg).add_to(groups["line"])
    lines.extend(_add_pit_lane(track, lane, groups["pit"]) for lane in track.pit_lanes)
    for crossover in track.crossovers:
        for edge in bridge_edges(track, crossover):
            _line(edge, "t-bridge-under", "line", weight=5.5).add_to(groups["bridges"])
            _line(edge, "t-bridge", "line", weight=2.5).add_to(groups["bridges"])
        words = (
            f"Bridge: the track passes over at {metres(crossover.over_m)} "
            f"and under at {metres(crossover.under_m)}"
        )
        label = _label("bridge", "bridge", rank=5)
        place = to_map(track, track.curve.position(np.array([crossover.over_m])))[0]
        _marker(place, label, words, f"<h4>Bridge</h4>{escape(words)}.").add_to(groups["bridges"])
    bars = [bar for gate in track.gates for bar in _add_gate(track, gate, groups["gates"])]
    for corner in track.corners:
        _add_corner(track, corner, groups["corners"])
    markers = [
        _add_finding(track, number, finding, groups["findings"])
        for number, finding in enumerate(findings, start=1)
    ]
    drawn_drives = [_DriveLayer(drive).add_to(chart) for drive in drives]

    places = [place for part in outline for place in part[0]]
    for gate in track.gates:
        places += to_map(track, track.gate_ends(gate))
    _number(chart)
    return Layers(chart, groups, drawn_drives, lines, bars, markers, _bounds(places))


def metres(value: float, digits: int = 0) -> str:
    """Write a length for people."""
    return f"{value:,.{digits}f} m"


def corner_title(corner: Corner) -> str:
    """Say a corner's number and its name, if it has one."""
    return f"Corner {corner.number}" + (f": {corner.name}" if corner.name else "")


def finding_position_m(track: Track, finding: Finding) -> Floats | None:
    """Find where on the plane a finding belongs, shape (2,), or None if it has no place.

    Its own position counts first, then its chainage, then the gate or the corner it is about.
    """
    if finding.position is not None:
        return track.plane.to_plane(*finding.position)
    if finding.chainage_m is not None:
        return track.curve.position(finding.chainage_m)
    for gate in track.gates:
        if gate.id == finding.feature:
            return np.asarray(track.gate_ends(gate).mean(axis=0))
    for corner in track.corners:
        if corner.id and corner.id == finding.feature:
            return track.plane.to_plane(*corner.apex)
    return None


def _add_gate(track: Track, gate: Gate, group: Element) -> list[Element]:
    ends = track.gate_ends(gate)
    places = to_map(track, ends)
    bearing = float(bearing_deg(ends[0] - ends[1]))
    kind = KIND_NAMES[gate.kind]
    title = f"<h4><bdi>{escape(gate.name)}</bdi></h4>"
    facts = (
        f"{kind} gate at chainage {metres(gate.chainage_m, 1)}, {metres(gate.width_m, 1)} wide"
        + (", ends surveyed on the ground" if gate.surveyed else "")
    )
    popup = f"{title}{escape(facts.capitalize())}.<br>Id: {escape(gate.id)}"
    tooltip = f"<bdi>{escape(gate.name)}</bdi>: {escape(facts)}"
    halo = _line(places, "t-halo", "gates", weight=8, line_cap="butt").add_to(group)
    bar = _line(places, f"t-{gate.kind}", "gates", weight=4.5, line_cap="butt")
    bar.add_child(_Words(tooltip, popup))
    bar.add_to(group)
    label = _label(
        f"gate {gate.kind}",
        f"<bdi>{escape(gate.name)}</bdi> {metres(gate.chainage_m)}",
        rank=_LABEL_RANK.get(gate.kind, 2),
        away_deg=bearing,
        half_m=0.5 * float(np.hypot(*(ends[0] - ends[1]))),
    )
    middle = to_map(track, ends.mean(axis=0, keepdims=True))[0]
    _marker(middle, label, tooltip, popup).add_to(group)
    return [halo, bar]


def _add_corner(track: Track, corner: Corner, group: Element) -> None:
    apex = track.plane.to_plane([corner.apex[0]], [corner.apex[1]])
    outward = track.curve.left(corner.apex_m) * (-1.0 if corner.turn == "left" else 1.0)
    facts = (
        f"{corner.turn}, radius {metres(corner.min_radius_m)} at the apex, "
        f"chainage {metres(corner.apex_m)}"
    )
    title = escape(corner_title(corner))
    popup = (
        f"<h4><bdi>{title}</bdi></h4>Turns {corner.turn}.<br>"
        f"Smallest radius {metres(corner.min_radius_m, 1)}.<br>"
        f"From {metres(corner.entry_m)} to {metres(corner.exit_m)}, apex at "
        f"{metres(corner.apex_m, 1)}."
    )
    label = _label(
        "corner",
        f'<span class="unseen">Corner </span>{corner.number}',
        rank=4,
        away_deg=float(bearing_deg(outward)),
        half_m=0.5 * track.band_m,
    )
    marker = _marker(to_map(track, apex)[0], label, f"<bdi>{title}</bdi>: {escape(facts)}", popup)
    marker.add_to(group)


def _add_pit_lane(track: Track, lane: PitLane, group: Element) -> Any:
    position = track.plane.to_plane(lane.longitude_deg, lane.latitude_deg)
    places = to_map(track, position)
    _line(places, "t-pit-halo", "line", weight=5).add_to(group)
    drawn = _line(places, "t-pit", "line", weight=3, dash_array="6 5")
    drawn.add_to(group)
    middle = places[len(places) // 2]
    label = _label("pit", "Pit lane", rank=5)
    _marker(middle, label, "Pit lane", "<h4>Pit lane</h4>").add_to(group)
    return drawn


def _add_finding(track: Track, number: int, finding: Finding, group: Element) -> Any:
    position = finding_position_m(track, finding)
    if position is None:
        return None
    place = to_map(track, np.atleast_2d(position))[0]
    tag = f"{finding.severity} {number}"
    message, remedy = escape(finding.message), with_code(finding.remedy)
    popup = f"<h4>{tag}{' (accepted)' if finding.accepted else ''}</h4><p>{message}</p>"
    if remedy:
        popup += f"<p><b>What to do:</b> {remedy}</p>"
    for radius, css in ((7, "t-halo"), (7, "t-ring")):
        ring = folium.CircleMarker(place, radius=radius, weight=5 if css == "t-halo" else 2)
        _styled(ring, css, "findings").add_to(group)
    css = f"finding {finding.severity}" + (" accepted" if finding.accepted else "")
    rank = 6 if finding.accepted else _LABEL_RANK[finding.severity]
    label = _label(css, tag + (", accepted" if finding.accepted else ""), rank=rank)
    marker = _marker(place, label, f"{tag}: {message}", popup)
    marker.add_to(group)
    return marker


def _label(
    css: str, html: str, *, rank: int, away_deg: float | None = None, half_m: float = 0.0
) -> str:
    """Write a label that the page's script puts beside its point.

    `away_deg` is the bearing in which to look for room first (None: any), `half_m` how far from
    the point there is track.
    """
    away = "" if away_deg is None else f' data-away="{away_deg:.1f}" data-half="{half_m:.1f}"'
    return f'<div class="label {css}" data-rank="{rank}"{away}>{html}</div>'


def _marker(place: LatLon, label: str, tooltip: str, popup: str) -> Any:
    icon = folium.DivIcon(html=label, icon_size=(0, 0), class_name="at")
    marker: Any = folium.Marker(place, icon=icon)
    marker.add_child(_Words(tooltip, popup))
    return marker


def _arrow(place: LatLon, bearing: float) -> folium.Marker:
    path = f'd="M-5 3.5 0 -4 5 3.5" transform="rotate({bearing})"'
    icon = folium.DivIcon(
        html=f'<svg class="arrow" data-rank="9" width="18" height="18" viewBox="-9 -9 18 18">'
        f'<path class="under" {path}/><path class="over" {path}/></svg>',
        icon_size=(18, 18),
        class_name="arrow-at",
    )
    return folium.Marker(place, icon=icon, interactive=False, keyboard=False)


def _line(places: Iterable[LatLon], css: str, pane: str, **options: Any) -> Any:
    polyline: Any = folium.PolyLine
    line = polyline(list(places), smooth_factor=SMOOTH_FACTOR, **options)
    return _styled(line, css, pane)


def _styled(layer: Any, css: str, pane: str) -> Any:
    """Set options of Leaflet's that folium's keywords drop (some versions, some layers)."""
    layer.options["className"] = css
    layer.options["pane"] = pane
    return layer


def _number(chart: folium.Map) -> None:
    """Give elements running numbers for ids, so that the same input makes the same page."""
    waiting: list[Element] = [chart]
    for count in range(1, 1_000_000):
        if not waiting:
            return
        element = waiting.pop()
        element._id = f"{count}"  # noqa: SLF001  branca offers no other way
        waiting.extend(reversed(element._children.values()))  # noqa: SLF001


def _bounds(places: Sequence[LatLon]) -> list[LatLon]:
    array = np.asarray(places, dtype=float)
    low, high = array.min(axis=0), array.max(axis=0)
    return [[float(a) for a in low], [float(b) for b in high]]
