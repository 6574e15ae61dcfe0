"""A track as a picture on one sheet of paper, fit for a notice board."""

from __future__ import annotations

import io
import os
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from trackkit.arrays import Floats
from trackkit.caution import CAUTION, PLAN
from trackkit.errors import OutputError
from trackkit.files import write_whole
from trackkit.paper.ground import draw_underlay
from trackkit.paper.ink import (
    BAND,
    BAND_EDGE,
    DRIVE,
    GATE_STYLES,
    INK,
    PAPER,
    PIT,
    PIT_DASH,
    RULE,
    SOFT,
    THIN_PT,
    Pen,
    disc_width_mm,
    draw_disc,
    draw_north,
    draw_scale,
    draw_table,
)
from trackkit.paper.labels import Label, Wanted, place_labels
from trackkit.paper.shapes import Shapes, outline
from trackkit.paper.sheet import MARGIN_MM, PAPERS_MM, Box, Paper, Sheet, arrange
from trackkit.paper.tables import tables_of
from trackkit.paper.text import CAPITAL, MM_PER_POINT, Lettering
from trackkit.recordings.recording import Recording
from trackkit.track.credit import credits_of
from trackkit.track.digest import short_digest
from trackkit.track.model import Track
from trackkit.underlay.picture import Underlay
from trackkit.units import units

if TYPE_CHECKING:
    from matplotlib.figure import Figure


SUFFIXES = (".svg", ".pdf", ".png")
PNG_DOTS_PER_INCH = 200
_LABEL_PT, _SMALL_PT, _FACTS_PT, _TITLE_PT = 8.0, 6.5, 10.0, 19.0
_DISC_MM, _PAD_MM, _STRIPE_MM = 4.6, 1.2, 1.2
_GATE_NAME_MM, _CORNER_NAME_MM = 44.0, 34.0
_SIMPLER_MM = 0.03


@dataclass(frozen=True)
class Picture:
    """A picture of a track: matplotlib's figure, what is where on it, what to tell, its fonts.

    Labels are those of gates, corners, bridges and pit lanes, by what they name; None where there
    was no room for one.
    """

    figure: Figure
    sheet: Sheet
    shapes: Shapes
    labels: dict[str, Label | None]
    remarks: tuple[str, ...]
    lettering: Lettering


@dataclass(frozen=True)
class _Line:
    """A line of text above or below the map."""

    words: str
    size_pt: float
    bold: bool = False
    colour: str = INK

    @property
    def height_mm(self) -> float:
        return 1.35 * self.size_pt * MM_PER_POINT


def write_paper(
    track: Track,
    path: str | os.PathLike[str],
    *,
    recordings: Iterable[Recording] = (),
    paper: Paper = "A4",
    verdict: str = "",
    underlay: Underlay | None = None,
    force: bool = False,
) -> tuple[str, ...]:
    """Write a track as a picture on a sheet of paper, whole or not at all.

    The same input gives the same bytes.

    Parameters
    ----------
    track
        The track.
    path
        Ending in .svg, .pdf or .png.
    recordings
        Drawn over it as thin lines.
    paper
        Its size: A4, A3, Letter or Tabloid, upright or across as the circuit asks.
    verdict
        Whether the track is fit to hand on, a sentence; `trackkit.judge_track` judges it.
    underlay
        A picture of the ground to draw on, from `trackkit.read_underlay`.
    force
        Whether a file that exists may be replaced.

    Returns
    -------
    tuple of str
        What there is to tell: letters that no font has, labels without room, recordings elsewhere.

    Raises
    ------
    OutputError
        When the suffix or the paper is another, or the file exists and `force` is false, or cannot
        be written.
    UnderlayError
        When the picture does not reach the circuit, or can't be read.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> remarks = trackkit.write_paper(track, "pipwick.pdf", force=True)
    """
    suffix = Path(path).suffix.lower()
    if suffix not in SUFFIXES:
        raise OutputError(
            f"{suffix or 'a name without a suffix'} says no kind of picture",
            file=os.fspath(path),
            remedy=f"end the name with {', '.join(SUFFIXES[:-1])} or {SUFFIXES[-1]}",
        )
    if paper not in PAPERS_MM:
        raise OutputError(
            f"there is no paper called {paper!r}", remedy=f"choose {', '.join(PAPERS_MM)}"
        )
    with settings():
        picture = draw(track, recordings, paper, verdict, underlay)
        title = Lettering.for_texts([track.name]).clean(track.name)
        letters = picture.lettering.notices()
        # Whatever tells when, or by which version, a file was made would change its bytes.
        metadata: dict[str, dict[str, Any]] = {
            ".svg": {"Date": None, "Creator": "trackkit", "Title": title, "Rights": letters},
            ".pdf": {
                "CreationDate": None,
                "Creator": "trackkit",
                "Producer": None,
                "Title": title,
                "Subject": letters,
            },
            ".png": {"Software": None},
        }
        content = io.BytesIO()
        picture.figure.savefig(
            content, format=suffix[1:], dpi=PNG_DOTS_PER_INCH, metadata=metadata[suffix]
        )
    write_whole(path, content.getvalue(), force=force)
    return picture.remarks


@contextmanager
def settings() -> Iterator[None]:
    """Set matplotlib to its own defaults and ours, whatever the user's settings are."""
    import matplotlib as mpl

    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams["svg.hashsalt"] = "trackkit"
        mpl.rcParams["svg.fonttype"] = "path"
        mpl.rcParams["pdf.fonttype"] = 42
        mpl.rcParams["text.hinting"] = "no_hinting"
        yield


def draw(
    track: Track,
    recordings: Iterable[Recording] = (),
    paper: Paper = "A4",
    verdict: str = "",
    underlay: Underlay | None = None,
) -> Picture:
    """Draw a track on a sheet; see `write_paper`."""
    drives = list(recordings)
    credit = "" if underlay is None else f"Picture: {underlay.credit}"
    lettering = Lettering.for_texts([*texts_of(track, drives), verdict, credit])
    clean = lettering.clean
    inside_mm = [side - 2.0 * MARGIN_MM for side in PAPERS_MM[paper]]
    heads = [_head(track, lettering, width) for width in inside_mm]
    feet = [_foot(track, verdict, credit, lettering, width) for width in inside_mm]
    lines, bars = outline(track)
    sheet = arrange(
        np.vstack([*lines, *bars]),
        tables_of(track, drives, lettering),
        lettering,
        head_mm=[sum(line.height_mm for line in head) + 2.0 for head in heads],
        foot_mm=[sum(line.height_mm for line in foot) + 3.0 for foot in feet],
        paper=paper,
    )
    across = sheet.width_mm > sheet.height_mm
    pen = Pen.on(sheet, lettering)
    _write_lines(pen, heads[across], sheet.height_mm - MARGIN_MM)
    foot = feet[across]
    _write_lines(pen, foot, MARGIN_MM + sum(line.height_mm for line in foot))
    if underlay is not None:
        draw_underlay(pen, underlay, track, sheet)
    shapes = _draw_circuit(pen, track, sheet, seen_through=underlay is not None)
    for block in sheet.tables:
        draw_table(pen, block, sheet.size_pt)
    elsewhere = [
        f"{drive.name} lies off the sheet and is not drawn"
        for drive in drives
        if not _draw_drive(pen, drive, track, sheet)
    ]
    labels = _draw_labels(pen, track, shapes, sheet)
    without = [clean(what) for what, label in labels.items() if label is None]
    remarks = lettering.remarks() + elsewhere
    if without:
        remarks.append(f"no room on the sheet for the label of {', '.join(without)}")
    return Picture(pen.figure, sheet, shapes, labels, tuple(remarks), lettering)


def draw_on(pen: Pen, track: Track, sheet: Sheet) -> dict[str, Label | None]:
    """Draw a circuit with its labels, scale and north arrow alone."""
    return _draw_labels(pen, track, _draw_circuit(pen, track, sheet), sheet)


def _draw_circuit(pen: Pen, track: Track, sheet: Sheet, *, seen_through: bool = False) -> Shapes:
    shapes = Shapes.of(track, sheet)
    _draw_shapes(pen, track, shapes, seen_through=seen_through)
    draw_scale(pen, sheet)
    draw_north(pen, sheet)
    return shapes


def texts_of(track: Track, drives: Sequence[Recording] = ()) -> list[str]:
    """Everything that others wrote and the sheet shows; and the signs of our own words."""
    return [
        track.name,
        track.layout,
        track.notes,
        track.id,
        track.licence or "",
        *(f"Data: {text}" for text in credits_of(track)),
        track.revised,
        PLAN,
        CAUTION,
        "abcxyzABCXYZ0123456789…:;,.()±–",
        *(gate.name for gate in track.gates),
        *(corner.name for corner in track.corners),
        *(drive.name for drive in drives),
    ]


def _head(track: Track, lettering: Lettering, width_mm: float) -> list[_Line]:
    """Name, layout, length and direction, notes."""
    clean = lettering.clean
    title = ", ".join(clean(text) for text in (track.name, track.layout) if clean(text))
    size = _TITLE_PT
    while size > 12.0 and lettering.width_mm(title, size, bold=True) > width_mm:
        size -= 1.0
    facts = [f"Length {units().length_text(track.length_m)}"]
    facts += ["closed circuit" if track.closed else "point to point"]
    facts += [f"driven {track.direction}"] if track.direction else []
    facts += ["crosses over itself"] if track.crossovers else []
    count = len(track.corners)
    facts += [f"{count} corner{'s' if count > 1 else ''}"] if count else []
    lines = [_Line(lettering.clipped(title, size, width_mm, bold=True), size, bold=True)]
    lines.append(_Line(", ".join(facts), _FACTS_PT))
    notes = lettering.wrapped(clean(track.notes), _SMALL_PT, width_mm, 2)
    return lines + [_Line(line, _SMALL_PT, colour=SOFT) for line in notes]


def _foot(
    track: Track, verdict: str, credit: str, lettering: Lettering, width_mm: float
) -> list[_Line]:
    """Write the verdict, the caution, and which file this is, of which geometry."""
    about = [f"Track file {lettering.clean(track.id)}", f"geometry {short_digest(track)}"]
    if track.revised:
        about.append(f"revised {lettering.clean(track.revised)}")
    if track.accuracy_m is not None:
        accuracy = units().length_text(track.accuracy_m, 1)
        about.append(f"line known to {accuracy} (one sigma{_unmeasured(track)})")
    if track.licence:
        about.append(f"licence {lettering.clean(track.licence)}")
    caution = lettering.wrapped(f"{PLAN} {CAUTION}", _SMALL_PT, width_mm, 6)
    last = lettering.clipped(", ".join(about), _SMALL_PT, width_mm)
    judged = lettering.wrapped(lettering.clean(verdict), _SMALL_PT, width_mm, 2)
    data = [
        line
        for text in credits_of(track)
        for line in lettering.wrapped(lettering.clean(f"Data: {text}"), _SMALL_PT, width_mm, 2)
    ]
    return [
        *(_Line(line, _SMALL_PT, bold=True) for line in judged),
        *(_Line(line, _SMALL_PT) for line in caution),
        _Line(last, _SMALL_PT, colour=SOFT),
        *(_Line(line, _SMALL_PT, colour=SOFT) for line in data),
        *(
            _Line(line, _SMALL_PT, colour=SOFT)
            for line in lettering.wrapped(lettering.clean(credit), _SMALL_PT, width_mm, 2)
        ),
    ]


def _unmeasured(track: Track) -> str:
    metres = track.centreline.metres_of_kinds() or {}
    shares = [
        f"{max(1, round(100 * some / track.length_m))} % {kind}"
        for kind, some in metres.items()
        if kind != "measured" and some > 0
    ]
    return "; " + ", ".join(shares) if shares else ""


def _write_lines(pen: Pen, lines: Sequence[_Line], top_mm: float) -> None:
    y = top_mm
    for line in lines:
        y -= line.height_mm
        pen.text(
            MARGIN_MM,
            y + 0.3 * line.size_pt * MM_PER_POINT,
            line.words,
            line.size_pt,
            bold=line.bold,
            colour=line.colour,
        )


def _draw_shapes(pen: Pen, track: Track, shapes: Shapes, *, seen_through: bool) -> None:
    if shapes.thin:
        pen.line(shapes.centre, BAND_EDGE, THIN_PT, over=2.0)
    else:
        # Paint and kerbs of a picture are there to be seen.
        fill = "none" if seen_through else BAND
        pen.geometry(shapes.band, fill, BAND_EDGE, 0.6, over=2.0)
    for mark, places in shapes.unmeasured:
        pen.unmeasured(places, mark)
    for lane in shapes.pit_lanes:
        pen.line(lane, PAPER, 2.6, over=2.5)
        pen.line(lane, PIT, 1.4, over=2.6, dash=PIT_DASH)
    for bridge in shapes.bridges:
        if not (shapes.thin or seen_through):
            ring = np.vstack([bridge[0], bridge[1][::-1], bridge[0][:1]])
            pen.area([ring], BAND, over=2.7)
        for side in bridge:
            pen.line(side, INK, 1.3, over=2.8)
    for place, direction in shapes.arrows:
        pen.arrow(place, direction)
    for gate, ends in zip(track.gates, shapes.gates, strict=True):
        pen.gate(ends, gate.kind)


def _draw_drive(pen: Pen, drive: Recording, track: Track, sheet: Sheet) -> bool:
    """Draw a recording as thin lines within the map's box; tell whether any of it is there."""
    import shapely

    place = sheet.to_paper(track.plane.to_plane(drive.longitude_deg, drive.latitude_deg))
    box = sheet.label_box
    window = shapely.box(box.left, box.bottom, box.right, box.top)
    segment = np.zeros(len(drive)) if drive.segment is None else drive.segment
    drawn = False
    for piece in np.split(place, np.flatnonzero(np.diff(segment)) + 1):
        if len(piece) > 1:
            line = shapely.simplify(shapely.linestrings(piece), _SIMPLER_MM)
            for part in shapely.get_parts(shapely.intersection(line, window)):
                if part.geom_type == "LineString" and not part.is_empty:
                    pen.line(shapely.get_coordinates(part), DRIVE, 0.3, over=3.0)
                    drawn = True
    return drawn


def _draw_labels(pen: Pen, track: Track, shapes: Shapes, sheet: Sheet) -> dict[str, Label | None]:
    """Place labels, gates of laps first, and draw them."""
    lettering = pen.lettering
    bold = 0.5 * CAPITAL * _LABEL_PT * MM_PER_POINT
    tall = 2.0 * bold + 2.0 * _PAD_MM
    wanted: list[Wanted] = []
    names: list[str] = []
    texts: list[tuple[str, ...]] = []
    kinds: list[str] = []

    def want(what: str, kind: str, words: tuple[str, ...], anchors: Floats, away: Floats) -> None:
        number = kind == "corner"
        sizes = []
        for wording in words:
            width = lettering.width_mm(wording, _LABEL_PT, bold=not number)
            if number:
                disc = disc_width_mm(lettering, str(what.split()[1]), _DISC_MM, _LABEL_PT)
                sizes.append((disc + (width + _PAD_MM if wording else 0.0), _DISC_MM))
            else:
                sizes.append((width + 2.0 * _PAD_MM + _STRIPE_MM, tall))
        names.append(what)
        kinds.append(kind)
        texts.append(words)
        wanted.append(Wanted(anchors, away, tuple(sizes)))

    order = sorted(
        range(len(track.gates)), key=lambda n: track.gates[n].kind not in ("finish", "start")
    )
    for index in order:
        gate = track.gates[index]
        anchors, away = shapes.gate_anchors[index]
        name = lettering.clipped(lettering.clean(gate.name), _LABEL_PT, _GATE_NAME_MM, bold=True)
        text = f"{name} {units().length_text(gate.chainage_m)}".strip()
        want(f"gate {index + 1}", gate.kind, (text,), anchors, away)
    for n, corner in enumerate(track.corners):
        anchors, away = shapes.corner_anchors[n]
        name = lettering.clipped(lettering.clean(corner.name), _LABEL_PT, _CORNER_NAME_MM)
        want(f"corner {corner.number}", "corner", (name, "") if name else ("",), anchors, away)
    for n, (anchors, away) in enumerate(shapes.bridge_anchors):
        want(f"bridge {n + 1}", "bridge", ("Bridge",), anchors, away)
    for n, (anchors, away) in enumerate(shapes.lane_anchors):
        want(f"pit lane {n + 1}", "pit", ("Pit lane",), anchors, away)

    placed = place_labels(wanted, shapes.ink, sheet.label_box)
    for what, kind, words, label in zip(names, kinds, texts, placed, strict=True):
        if label is None:
            continue
        if label.leader_mm is not None:
            pen.line(label.leader_mm, PAPER, 1.3, over=5.4)
            pen.line(label.leader_mm, SOFT, 0.5, over=5.5)
        text = words[label.wording]
        if kind == "corner":
            _corner_label(pen, label.box, what.split()[1], text)
        else:
            _bar_label(pen, label.box, kind, text)
    return dict(zip(names, placed, strict=True))


def _corner_label(pen: Pen, box: Box, number: str, name: str) -> None:
    wide = disc_width_mm(pen.lettering, number, _DISC_MM, _LABEL_PT)
    middle = 0.5 * (box.bottom + box.top)
    draw_disc(pen, np.array([box.left + 0.5 * wide, middle]), number, _DISC_MM, _LABEL_PT)
    if name:
        # A name is to be read on dark ground too.
        half = 0.5 * CAPITAL * _LABEL_PT * MM_PER_POINT + 0.5 * _PAD_MM
        plate = Box(box.left + 0.5 * wide, middle - half, box.right + 0.5 * _PAD_MM, middle + half)
        pen.box(plate, PAPER, over=7.0)
        base = middle - 0.5 * CAPITAL * _LABEL_PT * MM_PER_POINT
        pen.text(box.left + wide + _PAD_MM, base, name, _LABEL_PT)


def _bar_label(pen: Pen, box: Box, kind: str, text: str) -> None:
    colour = {"bridge": INK, "pit": PIT}.get(kind) or GATE_STYLES[kind][0]
    pen.box(box, PAPER, over=8.0, edge=RULE, edge_pt=0.5)
    pen.box(Box(box.left, box.bottom, box.left + _STRIPE_MM, box.top), colour, over=8.1)
    base = 0.5 * (box.bottom + box.top) - 0.5 * CAPITAL * _LABEL_PT * MM_PER_POINT
    pen.text(box.left + _STRIPE_MM + _PAD_MM, base, text, _LABEL_PT, bold=True)
