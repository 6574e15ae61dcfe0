"""What ``trackkit build`` does with every track it has built: the verdict, and the page."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from trackkit.cli.common import remark
from trackkit.cli.underlay import embedded_in

if TYPE_CHECKING:
    from trackkit.building.build import Build
    from trackkit.checks.verdict import Judgement
    from trackkit.track.model import Track
    from trackkit.underlay.embed import EmbeddedPicture
    from trackkit.underlay.picture import Underlay


def judged(track: Track, *, recorded: bool) -> tuple[Track, Judgement]:
    """Judge a track as it will be read back, and have it carry the verdict."""
    from trackkit import check_track, judge_track
    from trackkit.track.file import stored

    kept = stored(track)
    judgement = judge_track(kept, check_track(kept), recorded=recorded)
    return replace(track, verdict=judgement.verdict), judgement


@dataclass(frozen=True)
class Explained:
    """The page that is asked for, the picture on it, and how large that may be."""

    path: str | None
    picture: Underlay | None
    size_mb: float


def ground_of(page: Explained, track: Track) -> EmbeddedPicture | None:
    """Cut the picture before anything is written: it may not reach the track."""
    if page.path is None or page.picture is None:
        return None
    return embedded_in(page.picture, track, page.size_mb)


def explain_build(
    built: Build,
    judgement: Judgement,
    path: str | None,
    ground: EmbeddedPicture | None,
    *,
    force: bool,
) -> None:
    """Write the page of --explain, if it is asked for."""
    if path is None:
        return
    from trackkit import write_explanation

    write_explanation(built, path, judgement=judgement, underlay=ground, force=force)
    remark(f"wrote {path}: each step from the raw fixes to the line")
