"""Gates changed one step at a time, with undo, and what a page shows of them after each step."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np

from trackkit.checks.evaluate import Prepared, prepare
from trackkit.editor.asked import Request, number, position, text
from trackkit.editor.drawn_edge import draw_edge
from trackkit.editor.drawn_line import DrawnOver, by_hand, draw_line, with_picture
from trackkit.editor.offers import offer
from trackkit.editor.stretches import Stretch
from trackkit.errors import PlaceError, TrackkitError
from trackkit.gates import edit as changes
from trackkit.gates.edit import Change
from trackkit.gates.pit_lane import remove_pit_lane, set_pit_lane
from trackkit.geometry.geodesy import longitude_near
from trackkit.pages.state import datum_m, state, worded
from trackkit.track.crossed import crossed_gates
from trackkit.track.facts import FactChange, rename_corner, set_fact
from trackkit.track.features import GATE_KINDS
from trackkit.track.model import Track
from trackkit.track.places import Place

_OF_THE_LINE = ("line", "edge")
"""Edits that change what the page's chainages count along, or what lies beside it."""
_MOST_POINTS = 2000


@dataclass(frozen=True, eq=False)
class Step:
    """A track as it was after one edit.

    Parameters
    ----------
    track
        With the edit, and a line of history of it.
    prepared
        Recordings on its line.
    base
        Number of the line that chainages of the page count along.
    what
        What was done, or nothing for the track as it was opened.
    remarks
        What there was to say about it.
    merge
        Edits with one key, such as those of a drag, are one step.
    page
        The page that it was made on, which alone can undo it while it is open.
    """

    track: Track
    prepared: Prepared
    base: int
    what: str = ""
    remarks: tuple[str, ...] = ()
    merge: tuple[str, ...] | None = None
    page: str | None = None


class Editing:
    """The steps made so far, the one shown, and the one that is on disk."""

    def __init__(self, track: Track, prepared: Prepared, over: DrawnOver | None = None) -> None:
        self._over = over
        self._steps = [Step(track, prepared, 0)]
        self._shown = 0
        self._saved: Step | None = self._steps[0]
        self._bases = 1
        self._closed: set[str] = set()
        self.edit = 0

    @property
    def step(self) -> Step:
        """The step that is shown."""
        return self._steps[self._shown]

    @property
    def unsaved(self) -> bool:
        """Whether what is shown is not what was last read or written."""
        return self.step is not self._saved

    def mark_saved(self) -> None:
        """Note that what is shown is on disk."""
        self._saved = self.step

    def close(self, page: str) -> None:
        """Note that a page was closed: what was done on it can be undone on the others."""
        self._closed.add(page)

    def draw_over(self, over: DrawnOver | None) -> None:
        """Note what lines are drawn over from now on; pages begin anew with it."""
        self._over = over
        shown = replace(self.step, base=self._bases)
        if self._saved is self.step:
            self._saved = shown
        self._steps[self._shown] = shown
        self._bases += 1
        self.edit += 1

    def take(self, track: Track, prepared: Prepared, page: str | None = None) -> None:
        """Go on with a track as it is on disk now; that can be undone."""
        self._add(Step(track, prepared, self._bases, "took the file from disk", page=page))
        self._bases += 1
        self._saved = self.step

    def apply(self, request: Request, page: str | None = None) -> None:
        """Make one edit.

        Parameters
        ----------
        request
            The edit.
        page
            The page that asks for it.

        Raises
        ------
        TrackkitError
            When it cannot be made; nothing has changed then.
        """
        what = text(request, "do")
        if what == "undo":
            self._take_back(page)
        elif what == "redo":
            self._make_again(page)
        else:
            self._change(what, request, page)
        self.edit += 1

    def state(self, moving: str | None = None, page: str | None = None) -> dict[str, Any]:
        """Describe what is shown, as a page needs it; see `state`."""
        step, undone = self.step, self._undone
        shown = state(step.track, step.prepared, moving)
        for finding in shown["findings"]:
            finding["offer"] = offer(finding["action"])
        return shown | {
            "edit": self.edit,
            "base": step.base,
            "unsaved": self.unsaved,
            "can_undo": self._shown > 0 and self._may_change(step, page),
            "can_redo": undone is not None and self._may_change(undone, page),
            "undo_what": step.what or None,
            "redo_what": None if undone is None else undone.what,
            "remarks": worded(step.track, step.remarks),
        }

    @property
    def _undone(self) -> Step | None:
        """The step that was undone last, if it can be made again."""
        return self._steps[self._shown + 1] if self._shown + 1 < len(self._steps) else None

    def _may_change(self, step: Step, page: str | None) -> bool:
        return step.page is None or step.page == page or step.page in self._closed

    def _require_own(self, step: Step, page: str | None, what: str) -> None:
        if not self._may_change(step, page):
            raise TrackkitError(
                f"the step to {what} ({step.what}) was made on another page",
                remedy=f"{what} it there, or close that page first",
            )

    def _take_back(self, page: str | None) -> None:
        if self._shown == 0:
            raise TrackkitError("there is nothing to undo")
        self._require_own(self.step, page, "undo")
        self._shown -= 1

    def _make_again(self, page: str | None) -> None:
        undone = self._undone
        if undone is None:
            raise TrackkitError("there is nothing to redo")
        self._require_own(undone, page, "redo")
        self._shown += 1

    def _add(self, step: Step) -> None:
        del self._steps[self._shown + 1 :]
        self._steps.append(step)
        self._shown += 1

    def _change(self, what: str, request: Request, page: str | None) -> None:
        shown = self.step
        key = None
        if request.get("merge") is not None:
            key = (page or "", what, str(request.get("gate")), text(request, "merge"))
        goes_on = key is not None and key == shown.merge and shown is not self._saved
        goes_on = goes_on and self._shown > 0 and self._shown == len(self._steps) - 1
        before = self._steps[self._shown - 1] if goes_on else shown
        # Chainages count along the line as the page last saw it.
        datum = datum_m(shown.track, shown.prepared)
        given = number(request, "datum_m") if request.get("datum_m") is not None else datum
        ahead = given - datum_m(before.track, before.prepared)
        made = self._made(before.track, what, request, ahead)
        prepared, base = shown.prepared, shown.base
        has_laps = prepared.timed and _has_laps(made.track) and not _has_laps(before.track)
        if has_laps or what in _OF_THE_LINE:
            # Laps there are only now, or the line is another one: the page begins anew with it.
            prepared = prepare(made.track, prepared.recordings, prepared.files, prepared.others)
            base, self._bases = self._bases, self._bases + 1
        step = Step(made.track, prepared, base, made.what, made.remarks, key, page)
        if goes_on:
            self._steps[self._shown] = step
        else:
            self._add(step)

    def _made(self, track: Track, what: str, request: Request, ahead_m: float) -> _Made:
        if what == "pit-lane":
            return _with_pit_lane(track, request, self._over)
        if what == "line":
            drawn, said = draw_line(track, _stretches(track, request, ahead_m), self._over)
            return _Made(drawn, "drew the line", said)
        if what == "edge":
            side = request.get("side")
            if side not in ("left", "right"):
                raise TrackkitError("an edge is the left or the right one")
            stretches = _stretches(track, request, ahead_m)
            drawn, said = draw_edge(track, side, stretches, self._over)
            return _Made(drawn, f"drew the {side} edge", said)
        change = _changed(track, what, request, ahead_m)
        remarks = () if isinstance(change, FactChange) else change.remarks
        return _Made(change.track, _short(change, what), remarks)


def _has_laps(track: Track) -> bool:
    """Tell whether a track has the gates that laps begin and end at."""
    try:
        crossed_gates(track)
    except PlaceError:
        return False
    return True


class _Made(NamedTuple):
    """A track after an edit, what was done for an undo button, and what there is to say."""

    track: Track
    what: str
    remarks: tuple[str, ...]


def _with_pit_lane(track: Track, request: Request, over: DrawnOver | None) -> _Made:
    """Lay the pit lane along a line, or take it out where the line is null."""
    line = request.get("line")
    if line is None:
        changed, remarks = remove_pit_lane(track)
        return _Made(changed, "removed the pit lane", remarks)
    if not isinstance(line, list) or len(line) < 2:
        raise TrackkitError(
            "a pit lane needs two places or more", remedy="add one, or leave it as it was"
        )
    place = [position({"line": at}, "line") for at in line]
    longitude, latitude = zip(*place, strict=True)
    source = "a line drawn on the page" if over is None else f"a line {by_hand(over)}"
    changed, remarks = set_pit_lane(track, longitude, latitude, source=source)
    changed = with_picture(changed, over)
    what = "changed the pit lane" if track.pit_lanes else "drew the pit lane"
    return _Made(changed, what, remarks)


def _stretches(track: Track, request: Request, ahead_m: float) -> list[Stretch]:
    """Read stretches that were drawn; their chainages are metres ahead of where the track is."""
    rows = request.get("stretches")
    if not isinstance(rows, list) or not all(isinstance(row, Mapping) for row in rows):
        raise TrackkitError("stretches is no list of stretches")
    stretches = []
    for row in rows:
        points = row.get("points")
        if not isinstance(points, list) or len(points) > _MOST_POINTS:
            raise TrackkitError(f"a stretch is drawn by a list of {_MOST_POINTS} points at most")
        place = [position({"points": at}, "points") for at in points]
        ends = [
            None if row.get(key) is None else _chainage(track, number(row, key), ahead_m)
            for key in ("from_m", "to_m")
        ]
        longitude, latitude = np.array(place, dtype=float).reshape(-1, 2).T
        near = longitude_near(longitude, track.plane.longitude_deg)
        stretches.append(Stretch(ends[0], ends[1], track.plane.to_plane(near, latitude)))
    return stretches


def _chainage(track: Track, chainage_m: float, ahead_m: float) -> float:
    if ahead_m:
        return float(track.curve.wrap(chainage_m + ahead_m))
    return chainage_m


def _short(change: Change | FactChange, what: str) -> str:
    """Say for an undo button what was done."""
    if isinstance(change, FactChange):
        kind, _, which = change.key.partition(":")
        return f"named corner {which}" if kind == "corner" else f"set {kind.replace('_', ' ')}"
    done = {"place": "placed", "move": "moved", "width": "width of", "rename": "renamed"}
    return f"{done.get(what, 'removed')} {change.gate.name}"


def _changed(track: Track, what: str, request: Request, ahead_m: float) -> Change | FactChange:
    """Make one edit as the commands do; places are metres ahead of where the track has them."""
    if what == "set":
        key, value = text(request, "key"), text(request, "value")
        kind, colon, which = key.partition(":")
        if colon and kind == "corner":
            return rename_corner(track, which, value)
        return set_fact(track, key, value)
    if what == "place":
        kind = text(request, "kind")
        if kind not in GATE_KINDS:
            raise PlaceError(
                f"{kind!r} is no kind of gate", remedy=f"the kinds are: {', '.join(GATE_KINDS)}"
            )
        width = number(request, "width_m") if request.get("width_m") is not None else None
        name = changes.gate_name(text(request, "name")) if request.get("name") else None
        place = _place(track, request, "at_m", ahead_m)
        return changes.place_gate(track, kind, place, width_m=width, name=name)
    if what not in ("move", "width", "rename", "remove"):
        raise TrackkitError(f"{what!r} is no edit")
    gate = text(request, "gate")
    if what == "move":
        width = number(request, "width_m") if request.get("width_m") is not None else None
        place = _place(track, request, "to_m", ahead_m)
        return changes.move_gate(track, gate, place, width_m=width)
    if what == "width":
        return changes.widen_gate(track, gate, number(request, "width_m"))
    if what == "rename":
        return changes.rename_gate(track, gate, text(request, "name"))
    return changes.remove_gate(track, gate)


def _place(track: Track, request: Request, key: str, ahead_m: float) -> Place:
    at = request.get("at")
    if request.get("left") is not None and request.get("right") is not None:
        return Place(ends=(position(request, "left"), position(request, "right")))
    if at is None:
        chainage = number(request, key)
        if ahead_m:
            chainage = float(track.curve.wrap(chainage + ahead_m))
        elif track.closed and chainage == track.curve.length_m:
            chainage = 0.0
        return Place(chainage_m=chainage)
    return Place(position=position(request, "at"))
