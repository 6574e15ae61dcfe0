"""A track as one HTML page: a file that needs no network, or the page that gates are edited on."""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Mapping, Sequence
from functools import partial
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from trackkit.apart import each
from trackkit.caution import TILES_PRIVACY
from trackkit.checks.findings import Finding, is_of_recordings
from trackkit.checks.verdict import Judgement
from trackkit.errors import OutputError
from trackkit.files import write_whole
from trackkit.pages.assets import (
    csp_hash,
    leaflet_notice,
    leaflet_script,
    leaflet_style,
    own_file,
    own_notice,
    safe_in_element,
)
from trackkit.pages.legend import nearby_words, page_words
from trackkit.pages.tiles import TileLayer, tile_layer
from trackkit.recordings.recording import Recording
from trackkit.track.model import Track
from trackkit.underlay.embed import MAY_BE_OFF, EmbeddedPicture
from trackkit.units import units

if TYPE_CHECKING:
    from trackkit.pages.base import Driven
    from trackkit.timing.report import LapReport

MERCATOR_LIMIT_DEG = 85.0
"""The web's Mercator projection ends at 85.05 degrees of latitude."""


def map_html(
    track: Track,
    *,
    recordings: Iterable[Recording] = (),
    names: Sequence[str] | None = None,
    drivers: Sequence[str] | None = None,
    findings: Iterable[Finding] | Literal["checked"] | None = None,
    tiles: str | None = None,
    credit: str | None = None,
    underlay: EmbeddedPicture | None = None,
    title: str | None = None,
    everything: bool = False,
) -> str:
    """Draw a track as one HTML page that works with no network at all.

    Parameters
    ----------
    track
        The track.
    recordings
        Drawn over it, coloured by speed; their laps are listed, and drawn along the chainage.
    names
        What the page calls the recordings, in their order; their own names when None.
    drivers
        Who drove in each, in the same order; what the page calls the recordings when None.
    findings
        What a check had to say, to which is added what the recordings show; an empty list is shown
        as "0 findings", None shows no list, and "checked" what the track and the recordings show.
    tiles
        Address of pictures to lay under the map, with ``{z}``, ``{x}`` and ``{y}`` in it.  The page
        then contacts the host that serves them, and no other.  That host learns who opens the page,
        when, and which places they look at.
    credit
        Whom the map names for those pictures, as plain text; needed with `tiles`.
    underlay
        A picture of the ground that the page carries, from `trackkit.embed_underlay`.
    title
        Heading of the page, instead of the track's name.
    everything
        Whether the page holds what was driven farther than 500 m from the centreline too, such as
        the way there and home.

    Returns
    -------
    str
        The page.  The same input gives the same page.

    Raises
    ------
    OutputError
        When the track lies beyond 85 degrees of latitude, or `tiles` is no address of tiles or
        lacks its credit.
    """
    page, _ = _map_and_verdict(
        track,
        recordings=recordings,
        names=names,
        drivers=drivers,
        findings=findings,
        tiles=tiles,
        credit=credit,
        underlay=underlay,
        title=title,
        everything=everything,
    )
    return page


def _map_and_verdict(
    track: Track,
    *,
    recordings: Iterable[Recording],
    names: Sequence[str] | None,
    drivers: Sequence[str] | None,
    findings: Iterable[Finding] | Literal["checked"] | None,
    tiles: str | None,
    credit: str | None,
    underlay: EmbeddedPicture | None,
    title: str | None,
    everything: bool,
) -> tuple[str, Judgement]:
    require_mercator(track.name, track.centreline.latitude_deg)
    layer = tile_layer(tiles, credit)
    from trackkit.checks.evaluate import evaluate, prepare_timed
    from trackkit.pages.base import base_document
    from trackkit.pages.comparison import comparison_of
    from trackkit.pages.driven_channels import channel_rows
    from trackkit.pages.driven_day import day_document
    from trackkit.pages.driven_laps import Thinning
    from trackkit.pages.laid_out import laid_out
    from trackkit.pages.nearby import shown_of
    from trackkit.pages.state import finding_rows, judged, state_of
    from trackkit.timing.many import each_counted_once

    driving = list(recordings)
    parts = [shown_of(track, recording, everything=everything) for recording in driving]
    thinning = Thinning.of(track, driving, parts)
    work = partial(laid_out, track, thinning)
    done = each(work, [*zip(driving, parts, strict=True)], "timing laps")
    rows = [row.again_over(track) for row in done]
    files = [recording.name for recording in driving] if names is None else names
    prepared = prepare_timed(track, [row.timed for row in rows], files)
    evaluation = evaluate(track, prepared)
    timed = each_counted_once(evaluation.reports)
    reports: Sequence[LapReport | None] = timed or [None] * len(prepared.drives)
    driven: list[Driven] = [
        (drive, () if report is None else report.laps)
        for drive, report in zip(prepared.drives, reports, strict=True)
    ]
    base = base_document(
        track,
        driven,
        evaluation.quality,
        prepared.files,
        drivers,
        underlay,
        parts,
        [row.laps for row in rows],
    )
    base["comparison"] = comparison_of(track, [row.compared for row in rows])
    channels = [recording.channels for recording in prepared.recordings]
    of_channels = channel_rows([laps for _, laps in driven], parts, channels)
    for recording, own in zip(base["recordings"], of_channels, strict=True):
        recording["channels"] = own
    base["day"] = day_document(timed, [recording["driver"] for recording in base["recordings"]])
    shown = state_of(track, prepared, evaluation, parts)
    listed: list[Finding] | None = None
    if findings == "checked":
        listed = list(evaluation.findings)
    elif findings is not None:
        listed = list(findings)
        listed += [f for f in evaluation.findings if is_of_recordings(f) and f not in listed]
    shown["findings"] = None if listed is None else finding_rows(track, listed)
    for gate in shown["gates"]:
        gate["findings"] = [
            number for number, finding in enumerate(listed or []) if finding.feature == gate["id"]
        ]
    page = _page(base, shown, None, layer=layer, title=title, everything=everything)
    return page, judged(track, prepared, evaluation)


def edit_html(base: Mapping[str, Any], state: Mapping[str, Any], session: Mapping[str, Any]) -> str:
    """Make the page that gates are edited on.

    Parameters
    ----------
    base
        From `trackkit.pages.base.base_document`.
    state
        From `trackkit.pages.state.state`.
    session
        What the page needs to know of the server that answers it.

    Raises
    ------
    OutputError
        When the track lies beyond 85 degrees of latitude.
    """
    latitude = base["line"]["spline"]["lat"]
    require_mercator(base["track"]["name"], np.array([latitude["zero"]]))
    return _page(base, state, session)


def write_map(
    track: Track,
    path: str | os.PathLike[str],
    *,
    recordings: Iterable[Recording] = (),
    names: Sequence[str] | None = None,
    drivers: Sequence[str] | None = None,
    findings: Iterable[Finding] | Literal["checked"] | None = None,
    tiles: str | None = None,
    credit: str | None = None,
    underlay: EmbeddedPicture | None = None,
    title: str | None = None,
    everything: bool = False,
    force: bool = False,
) -> Judgement:
    """Write `map_html` to a file, whole or not at all.

    Parameters
    ----------
    track
        The track.
    path
        The file.
    recordings
        Drawn over it, coloured by speed; their laps are listed, and drawn along the chainage.
    names
        What the page calls the recordings, in their order; their own names when None.
    drivers
        Who drove in each, in the same order; what the page calls the recordings when None.
    findings
        What a check had to say, to which is added what the recordings show; an empty list is shown
        as "0 findings", None shows no list, and "checked" what the track and the recordings show.
    tiles
        Address of pictures to lay under the map, with ``{z}``, ``{x}`` and ``{y}`` in it.  The page
        then contacts the host that serves them, and no other.  That host learns who opens the page,
        when, and which places they look at.
    credit
        Whom the map names for those pictures, as plain text; needed with `tiles`.
    underlay
        A picture of the ground that the page carries, from `trackkit.embed_underlay`.
    title
        Heading of the page, instead of the track's name.
    everything
        Whether the page holds what was driven farther than 500 m from the centreline too, such as
        the way there and home.
    force
        Whether a file that exists may be replaced.

    Returns
    -------
    Judgement
        The verdict that the page shows.

    Raises
    ------
    OutputError
        When the file exists and `force` is false, or cannot be written; when the track lies beyond
        85 degrees of latitude, or `tiles` is no address of tiles or lacks its credit.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> judgement = trackkit.write_map(track, "pipwick.html", force=True)
    >>> judgement.fit
    False
    """
    page, judgement = _map_and_verdict(
        track,
        recordings=recordings,
        names=names,
        drivers=drivers,
        findings=findings,
        tiles=tiles,
        credit=credit,
        underlay=underlay,
        title=title,
        everything=everything,
    )
    write_whole(path, page, force=force)
    return judgement


def _page(
    base: Mapping[str, Any],
    state: Mapping[str, Any],
    session: Mapping[str, Any] | None,
    *,
    layer: TileLayer | None = None,
    title: str | None = None,
    everything: bool = True,
) -> str:
    from jinja2 import Environment

    environment = Environment(autoescape=True, trim_blocks=True, lstrip_blocks=True)
    tiles = None if layer is None else {"url": layer.url, "attribution": layer.attribution}
    start = environment.from_string("trackkit.open({{ tiles|tojson }});").render(tiles=tiles)
    scripts = [leaflet_script(), safe_in_element(own_file("bundle.js")), start]
    styles = [leaflet_style(), safe_in_element(own_file("bundle.css"))]
    documents = {"base": base, "state": state} | ({} if session is None else {"session": session})
    page = environment.from_string(own_file("page.html")).render(
        policy=policy(scripts, styles, layer, session),
        notices=[leaflet_notice(), own_notice()],
        styles=styles,
        scripts=scripts,
        documents=[(name, document_text(document)) for name, document in documents.items()],
        editing=session is not None,
        plan=None if session is None else session.get("plan"),
        tiles=layer,
        tiles_privacy=TILES_PRIVACY,
        nearby=None if everything else nearby_words(),
        underlay=_about_picture(base["underlay"]),
        **page_words(base, state, title),
    )
    return page.encode("utf-8", "replace").decode("utf-8")


def _about_picture(underlay: Mapping[str, Any] | None) -> dict[str, str] | None:
    if underlay is None:
        return None
    return {
        "credit": underlay["credit"],
        "caution": f"{MAY_BE_OFF[0].upper()}{MAY_BE_OFF[1:]}.",
        "sharpness": units().length_text(underlay["pixel_m"], 2),
    }


def document_text(document: Any) -> str:
    r"""Write JSON for a script element: no ``<`` in it can begin or end anything in HTML."""
    text = json.dumps(document, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")


def require_mercator(name: str, latitude_deg: Any) -> None:
    """Refuse a track beyond the web's Mercator projection; latitudes of any shape, degrees.

    Raises
    ------
    OutputError
        When it lies beyond 85 degrees of latitude.
    """
    if np.abs(latitude_deg).max() > MERCATOR_LIMIT_DEG:
        raise OutputError(
            f"the track {name!r} lies beyond {MERCATOR_LIMIT_DEG:.0f} degrees of latitude, "
            "where the map's Mercator projection ends",
            remedy="export it and draw it in a polar projection",
        )


def policy(
    scripts: Sequence[str],
    styles: Sequence[str],
    layer: TileLayer | None = None,
    session: Mapping[str, Any] | None = None,
) -> str:
    """Allow exactly this page's scripts and styles, and pictures from the tile host if any.

    Content Security Policy Level 3 (W3C).  A name that got past the escaping could then still
    neither run a script nor fetch anything.
    """
    pictures = "data:" if layer is None else f"data: {layer.origin}"
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
