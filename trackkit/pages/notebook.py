"""Pages in frames of their own, as notebooks show them."""

from __future__ import annotations

from html import escape

from trackkit.checks.findings import Finding
from trackkit.errors import OutputError
from trackkit.pages.html import map_html
from trackkit.recordings.recording import Recording
from trackkit.timing.report import LapReport
from trackkit.track.model import Track

HEIGHT_PX = 680


def framed_page(thing: Track | LapReport | Finding) -> str | None:
    """Make the page of something as a frame; injected raw it would restyle the notebook.

    Parameters
    ----------
    thing
        A track, a report with its laps, or a finding on its track.

    Returns
    -------
    str or None
        HTML that asks for nothing from anywhere; None where there is nothing to draw: a report
        that was made by hand or without its drive, a finding that was.
    """
    recordings: list[Recording] = []
    findings: list[Finding] | None = None
    track: Track | None
    if isinstance(thing, Track):
        track = thing
    elif isinstance(thing, Finding):
        track, findings = thing.track, [thing]
    else:
        track = thing.track if thing.has_drive else None
        recordings = [thing.recording] if thing.has_drive else []
    if track is None:
        return None
    try:
        page = map_html(track, recordings=recordings, findings=findings)
    except OutputError as error:
        # A notebook would print a whole traceback.
        return f"<p>{escape(str(error))}</p>"
    return (
        f'<iframe srcdoc="{escape(page)}" title="{escape(track.title)}" width="100%" '
        f'height="{HEIGHT_PX}" style="border:0" sandbox="allow-scripts allow-downloads"></iframe>'
    )
