"""A track that has changed, as a layout of its own that replaces the one before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from trackkit.building.revise import Revision
from trackkit.errors import TrackFileError
from trackkit.recordings.recording import Recording
from trackkit.track.facts import text_of
from trackkit.track.history import now
from trackkit.track.ids import slug
from trackkit.track.model import Track
from trackkit.track.validity import local_day


def as_new_layout(
    track: Track, revision: Revision, layout: str, recordings: Sequence[Recording]
) -> Revision:
    """Make a revision of a changed track a layout of its own, so that records do not mix.

    Parameters
    ----------
    track
        The track as it was before.
    revision
        What `revise_track` made of it.
    layout
        What to call the layout as it is now.
    recordings
        Those it was revised with: the first day of them is the first on which the new layout is
        known to be there.

    Returns
    -------
    Revision
        The same with a track that has an id of its own, `replaces` the one before, and is valid
        from that day on.

    Raises
    ------
    TrackFileError
        When nothing has changed, or `layout` cannot be a name or is that of the track before.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("gullhatch-oval").path
    >>> track = trackkit.read_track(path)
    >>> drive = trackkit.simulate_drive(track, laps=2, rate_hz=5, seed=1)
    >>> revision = trackkit.revise_track(track, [drive.recording])
    >>> trackkit.as_new_layout(track, revision, "Short", [drive.recording])
    Traceback (most recent call last):
        ...
    trackkit.errors.TrackFileError: the laps follow the line of Gullhatch Oval everywhere, ...
    """
    if not revision.changed:
        raise TrackFileError(
            f"the laps follow the line of {track.title} everywhere, so this is no other layout",
            remedy="revise the track itself",
        )
    name = text_of(layout, "the name of a layout", needed=True)
    track_id = slug(f"{track.name} {name}")
    if track_id == track.id:
        raise TrackFileError(
            f"the id of {track.name} ({name}) is {track_id}, which the track before has",
            remedy="give the layout another name",
        )
    starts = [recording.start for recording in recordings if recording.start is not None]
    longitude = float(track.centreline.longitude_deg[0])
    day = min((local_day(start, track.timezone, longitude) for start in starts), default=None)
    build = revision.build
    made = replace(
        build.track,
        id=track_id,
        layout=name,
        replaces=track.id,
        valid_from=day,
        valid_until=None,
    ).revised_by(f"became a layout of its own, which replaces {track.id}", now())
    text = f"{made.title} replaces {track.title}"
    text += f" from {day} on" if day else "; say from which day on: no recording has a date"
    return replace(revision, build=replace(build, track=made, remarks=(*build.remarks, text)))
