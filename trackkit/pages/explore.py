"""Maps for notebooks, to go on with: a track, the laps of a report, or a library, in folium."""

from __future__ import annotations

import base64
import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from trackkit.arrays import Floats, Indices
from trackkit.errors import OutputError
from trackkit.geometry.geodesy import longitude_near
from trackkit.library.folders import Library
from trackkit.pages.assets import leaflet_picture, leaflet_script, leaflet_style
from trackkit.pages.base import KIND_NAMES, SPEED_STYLES, speed_bounds
from trackkit.pages.html import require_mercator
from trackkit.paper.ink import BAND_EDGE, DRIVE, GATE_STYLES, INK, PIT
from trackkit.timing.laps import Lap
from trackkit.timing.report import LapReport
from trackkit.timing.sessions import lap_name
from trackkit.timing.trace_columns import trace_columns
from trackkit.track.credit import credits_of
from trackkit.track.model import Track
from trackkit.units import units

if TYPE_CHECKING:
    import folium

DIFFERENCE_STYLES = (
    ("#0072b2", 4.6),
    ("#56b4e9", 3.6),
    ("#999999", 2.2),
    ("#e69f00", 3.6),
    ("#d55e00", 4.6),
)
"""From ahead to behind: Okabe and Ito's palette (Color Universal Design, 2008; from memory)."""
_BOUNDS_S = (0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0)
_STEP = 2
_SCRIPT = """
window.$ = window.jQuery = (what) => {
  if (typeof what !== "string") {
    return { ready: (then) => then() };
  }
  const holder = document.createElement("template");
  holder.innerHTML = what.trim();
  return [...holder.content.children];
};
L.Icon.Default.imagePath = "";
L.Icon.Default.mergeOptions(PICTURES);
L.AwesomeMarkers = {
  icon: ({ markerColor = "blue" }) =>
    L.divIcon({
      className: "",
      iconSize: [26, 40],
      iconAnchor: [13, 39],
      popupAnchor: [0, -34],
      html: `<svg viewBox="0 0 26 40" width="26" height="40">
        <path d="M13 39C9 28 1 22 1 13a12 12 0 0 1 24 0c0 9-8 15-12 26z" fill="${markerColor}"
          stroke="#ffffff" stroke-width="1.5"/>
        <circle cx="13" cy="13" r="5" fill="#ffffff"/></svg>`,
    }),
};
"""
"""What folium wants besides Leaflet.

Of jQuery, for popups: elements of HTML, and a document that is ready.  For markers: Leaflet's
pictures, and pins in the colour of an icon, without the letters that lie on a server.
"""
_PICTURES = {
    "iconUrl": "images/marker-icon.png",
    "iconRetinaUrl": "images/marker-icon-2x.png",
    "shadowUrl": "images/marker-shadow.png",
}
_PLAIN = " .,()+-–±"


@dataclass(frozen=True)
class _Classes:
    """Classes that laps are coloured by: what the legend says of them, colours and widths."""

    title: str
    words: tuple[str, ...]
    styles: tuple[tuple[str, float], ...]
    bounds: tuple[float, ...]


_CREDIT = (
    "position:fixed;right:10px;bottom:24px;z-index:1000;padding:2px 6px;background:#ffffff;"
    f"color:{INK};font:11px/1.4 sans-serif"
)


def explore(
    thing: Track | LapReport | Library,
    *,
    colour: Literal["speed", "difference"] | None = None,
    tiles: Any = None,
    credit: str | None = None,
) -> folium.Map:
    """Draw a track, the laps of a report or a library on a map to go on with.

    The map carries Leaflet with it and asks for nothing from anywhere, as long as neither `tiles`
    nor something put on it later does; pins of `folium.Icon` have its colour, and no picture
    inside.  Across the antimeridian longitudes are counted on.

    Parameters
    ----------
    thing
        A track; a report with its drive; a library, whose circuits are drawn as lines.
    colour
        What a report's laps are coloured by: their speed, or the time by which they are behind the
        best lap there; None for lines of one colour.
    tiles
        What is laid under the map: whatever `folium.Map` takes; None for nothing.  Whoever serves
        the tiles learns which places are looked at.
    credit
        Whom the map names for them, as HTML.

    Returns
    -------
    folium.Map
        With a layer each for line, gates, corners, pit lanes and every lap that has a time, of
        which the best is shown.

    Raises
    ------
    OutputError
        When the track lies beyond 85 degrees of latitude, a library holds no track, or `colour` is
        given without laps or is another word.
    TrackkitError
        When a report was made by hand, or its drive was not kept.

    Examples
    --------
    >>> import trackkit
    >>> longitude, latitude = [5.0, 5.004, 5.004, 5.0], [24.0, 24.0, 24.003, 24.003]
    >>> track = trackkit.Track.from_arrays(longitude, latitude, "Box")
    >>> type(trackkit.explore(track)).__name__
    'Map'
    """
    if colour not in (None, "speed", "difference"):
        raise OutputError(f"laps are not coloured by {colour!r}", remedy="say speed or difference")
    if colour is not None and not isinstance(thing, LapReport):
        raise OutputError(
            f"there are no laps to colour by {colour}", remedy="explore a report of time_laps"
        )
    if isinstance(thing, Library):
        return _library_map(thing, tiles, credit)
    track = thing if isinstance(thing, Track) else thing.timed_track
    line = track.centreline
    require_mercator(track.name, line.latitude_deg)
    drawn = _empty_map(tiles, credit)
    _add_track(drawn, track)
    if isinstance(thing, LapReport):
        _add_laps(drawn, track, thing, colour)
    return _finished(drawn, [(line.longitude_deg, line.latitude_deg)])


def _empty_map(tiles: Any, credit: str | None) -> folium.Map:
    import folium

    class Map(folium.Map):
        def render(self, **kwargs: Any) -> Any:
            # The control of layers names them all, those too that were put on the map after it.
            for name, child in list(self._children.items()):
                if isinstance(child, folium.LayerControl):
                    self._children.move_to_end(name)
            render: Any = super().render
            return render(**kwargs)

    drawn = Map(tiles=tiles, attr=credit, control_scale=True, max_zoom=22)
    # Leaflet from the package that carries it, in place of all that folium would fetch.
    pictures = {option: leaflet_picture(name) for option, name in _PICTURES.items()}
    script = _SCRIPT.replace("PICTURES", json.dumps(pictures))
    drawn.default_js = [
        ("leaflet", _address("text/javascript", leaflet_script())),
        ("jquery", _address("text/javascript", script)),
    ]
    drawn.default_css = [("leaflet_css", _address("text/css", leaflet_style()))]
    return drawn


def _address(kind: str, text: str) -> str:
    return f"data:{kind};base64,{base64.b64encode(text.encode('utf-8')).decode('ascii')}"


def _finished(drawn: folium.Map, lines: Sequence[tuple[Floats, Floats]]) -> folium.Map:
    import folium

    folium.LayerControl(collapsed=False).add_to(drawn)
    longitude = np.concatenate([line[0] for line in lines])
    latitude = np.concatenate([line[1] for line in lines])
    corners = [
        [float(latitude.min()), float(longitude.min())],
        [float(latitude.max()), float(longitude.max())],
    ]
    drawn.fit_bounds(corners)
    return drawn


def _plain(text: str) -> str:
    """Write a text so that it is one in HTML, and within a script that writes HTML."""
    return "".join(c if c.isalnum() or c in _PLAIN else f"&#{ord(c)};" for c in text)


def _facts(*lines: str) -> str:
    return "<br>".join(_plain(line) for line in lines if line)


def _places(longitude_deg: Any, latitude_deg: Any) -> list[tuple[float, float]]:
    """Latitude and longitude, as Leaflet has them."""
    columns = (
        np.round(np.asarray(values, dtype=float), 8) for values in (latitude_deg, longitude_deg)
    )
    return list(zip(*(column.tolist() for column in columns), strict=True))


def _layer(drawn: folium.Map, name: str, *, show: bool = True) -> Any:
    import folium

    return folium.FeatureGroup(name=_plain(name), show=show).add_to(drawn)


def _line(places: Any, **style: Any) -> Any:
    import folium

    make: Any = folium.PolyLine
    return make(places, **style)


def _say_credits(drawn: folium.Map, texts: Iterable[str]) -> None:
    import folium

    root: Any = drawn.get_root()
    for text in texts:
        root.html.add_child(folium.Element(f'<div style="{_CREDIT}">Data: {_plain(text)}</div>'))


def _add_track(drawn: folium.Map, track: Track) -> None:
    import folium

    near, length = float(track.centreline.longitude_deg[0]), units().length_text

    def by(longitude_deg: Any) -> Floats:
        return longitude_near(longitude_deg, near)

    _say_credits(drawn, credits_of(track))
    line = track.centreline
    facts = _facts(track.title, length(track.length_m, 1), track.direction or "")
    _line(
        _places(by(line.longitude_deg), line.latitude_deg), color=BAND_EDGE, weight=3, tooltip=facts
    ).add_to(_layer(drawn, "Centreline"))
    if track.pit_lanes:
        layer = _layer(drawn, "Pit lane")
        for lane in track.pit_lanes:
            places = _places(by(lane.longitude_deg), lane.latitude_deg)
            _line(places, color=PIT, weight=3, dash_array="6 4", tooltip="Pit lane").add_to(layer)
    if track.corners:
        layer = _layer(drawn, "Corners")
        for corner in track.corners:
            words = _facts(
                f"Corner {corner.number} {corner.name}".strip(),
                f"{corner.turn}, apex at {length(corner.apex_m, 1)}",
                f"least radius {length(corner.min_radius_m, 1)}",
            )
            folium.CircleMarker(
                _places(by([corner.apex[0]]), [corner.apex[1]])[0],
                radius=4,
                color=INK,
                weight=1.5,
                fill=True,
                fill_color="#ffffff",
                fill_opacity=1.0,
                tooltip=words,
            ).add_to(layer)
    if track.gates:
        layer = _layer(drawn, "Gates")
        for gate in track.gates:
            longitude, latitude = zip(gate.left, gate.right, strict=True)
            words = _facts(
                gate.name,
                f"{KIND_NAMES[gate.kind]} gate at {length(gate.chainage_m, 1)}",
                f"{length(gate.width_m, 1)} wide" + (", surveyed" if gate.surveyed else ""),
            )
            _line(
                _places(by(longitude), latitude),
                color=GATE_STYLES[gate.kind][0],
                weight=6,
                tooltip=words,
                popup=folium.Popup(words, max_width=300),
            ).add_to(layer)


def _add_laps(drawn: folium.Map, track: Track, report: LapReport, colour: str | None) -> None:
    import folium

    drive = report.drive
    traced = list(trace_columns(track, drive, report.laps))
    best = report.best_lap
    behind = _behind(traced, best) if colour == "difference" else {}
    classes = _classes(colour, [columns["speed_mps"] for _, columns in traced], behind)
    near = float(track.centreline.longitude_deg[0])
    for lap, columns in traced:
        words = f"Lap {lap_name(report, lap)}"
        if lap.time_s is not None:
            words += f", {lap.time_s:.3f} s"
        words += "" if lap.counts else f", does not count ({lap.kind})"
        layer = _layer(drawn, words, show=lap is best or (best is None and lap is traced[0][0]))
        places = np.column_stack(
            [columns["latitude_deg"], longitude_near(columns["longitude_deg"], near)]
        )
        if classes is None:
            number = np.where(np.isfinite(places[:, 0]), 0, -1)
        else:
            value = (
                behind[id(lap)]
                if colour == "difference"
                else units().speed_per_mps * columns["speed_mps"]
            )
            number = np.where(
                np.isfinite(value), np.searchsorted(classes.bounds, value, side="right"), -1
            )
        for group, runs in _runs(places, number):
            name, (shade, weight) = (
                ("", (DRIVE, 2.0))
                if classes is None
                else (
                    ", " + classes.words[group],
                    classes.styles[group],
                )
            )
            _line(
                runs, color=shade, weight=weight, opacity=1.0, tooltip=_plain(words + name)
            ).add_to(layer)
    if classes is not None:
        root: Any = drawn.get_root()
        root.html.add_child(folium.Element(_legend(classes)))


def _behind(traced: Sequence[tuple[Lap, dict[str, Floats]]], best: Lap | None) -> dict[int, Floats]:
    """By how much later than the best lap each lap is at each place, seconds, by the lap's id."""
    if not traced:
        return {}
    base = next((columns for lap, columns in traced if lap is best), traced[0][1])["elapsed_s"]
    return {id(lap): columns["elapsed_s"] - base for lap, columns in traced}


def _classes(
    colour: str | None, speeds_mps: Sequence[Floats], behind: dict[int, Floats]
) -> _Classes | None:
    if colour is None:
        return None
    if colour == "speed":
        bounds = speed_bounds([speed[np.isfinite(speed)] for speed in speeds_mps])
        unit = units().speed
        words = (
            f"below {bounds[0]} {unit}",
            *(f"{low} to {high} {unit}" for low, high in pairwise(bounds)),
            f"{bounds[-1]} {unit} and more",
        )
        return _Classes("Speed", words, SPEED_STYLES, tuple(float(bound) for bound in bounds))
    every = np.abs(np.concatenate([*behind.values(), np.zeros(1)]))
    spread = float(np.nanpercentile(every, 90))
    outer = next((bound for bound in _BOUNDS_S if bound >= 0.5 * spread), _BOUNDS_S[-1])
    inner = 0.2 * outer
    words = (
        f"more than {outer:g} s ahead",
        f"{inner:g} to {outer:g} s ahead",
        f"within {inner:g} s",
        f"{inner:g} to {outer:g} s behind",
        f"more than {outer:g} s behind",
    )
    return _Classes(
        "Against the best lap", words, DIFFERENCE_STYLES, (-outer, -inner, inner, outer)
    )


def _runs(places: Floats, number: Indices) -> Iterator[tuple[int, list[list[list[float]]]]]:
    """Part a lap into lines of one class each, that meet where they change."""
    begin = np.flatnonzero(np.diff(number, prepend=number[0] - 1) != 0)
    ends = np.append(begin[1:], len(number) - 1)
    lines: dict[int, list[list[list[float]]]] = {}
    for first, last in zip(begin.tolist(), ends.tolist(), strict=True):
        if number[first] < 0:
            continue
        chosen = np.unique(np.append(np.arange(first, last, _STEP), last))
        chosen = chosen[np.isfinite(places[chosen]).all(axis=1)]
        if len(chosen) > 1:
            lines.setdefault(int(number[first]), []).append(np.round(places[chosen], 7).tolist())
    yield from sorted(lines.items())


def _legend(classes: _Classes) -> str:
    rows = "".join(
        f'<div><span style="display:inline-block;width:26px;height:0;vertical-align:middle;'
        f'border-top:{width:.0f}px solid {shade};margin-right:6px"></span>{_plain(words)}</div>'
        for words, (shade, width) in zip(classes.words, classes.styles, strict=True)
    )
    return (
        '<div style="position:fixed;left:10px;bottom:64px;z-index:1000;padding:6px 10px;'
        f"background:#ffffff;color:{INK};border:1px solid {INK};"
        f'font:13px/1.5 sans-serif"><strong>{_plain(classes.title)}</strong>{rows}</div>'
    )


def _library_map(library: Library, tiles: Any, credit: str | None) -> folium.Map:
    import folium

    tracks = library.tracks()
    if not tracks:
        raise OutputError("the library holds no track to draw", remedy="add one to it")
    drawn = _empty_map(tiles, credit)
    _say_credits(drawn, dict.fromkeys(known.credit for known in tracks if known.credit))
    layer = _layer(drawn, "Circuits")
    near = float(tracks[0].longitude_deg[0])
    lines = []
    for known in tracks:
        require_mercator(known.name, known.latitude_deg)
        first = float(known.longitude_deg[0])
        longitude = known.longitude_deg + (float(longitude_near(first, near)) - first)
        lines.append((longitude, known.latitude_deg))
        length = units().length_text(known.length_m)
        words = _facts(known.title, length, known.direction or "", known.id)
        # A circuit is less than a dot on a map of many: the ring stays as large as it is.
        folium.CircleMarker(
            _places(longitude[:1], known.latitude_deg[:1])[0],
            radius=6,
            color=GATE_STYLES["finish"][0],
            weight=2,
            fill=False,
            tooltip=words,
        ).add_to(layer)
        line = _line(
            _places(longitude, known.latitude_deg), color=BAND_EDGE, weight=3, tooltip=words
        )
        line.add_to(layer)
    return _finished(drawn, lines)
