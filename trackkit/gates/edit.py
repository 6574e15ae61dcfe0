"""Gates placed, moved, widened, renamed and removed: each a change with a line of history."""

from __future__ import annotations

import reprlib
from dataclasses import dataclass, replace

from trackkit.errors import PlaceError
from trackkit.gates.placement import with_gate, with_gate_moved, without_gate
from trackkit.track.derive import called, renamings
from trackkit.track.features import Gate, GateKind
from trackkit.track.history import now
from trackkit.track.model import Track
from trackkit.track.places import Place, as_place
from trackkit.words import shortened

LONGEST_NAME = 100


@dataclass(frozen=True, eq=False)
class Change:
    """A track with a gate changed.

    Parameters
    ----------
    track
        With the change, and a line of history of it.
    gate
        The gate, as it is now or as it was before it was removed.
    remarks
        Sentences for the user about how the gate was placed.
    what
        What was done, as the history has it.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> change = trackkit.widen_gate(track, "Finish", 20.0)
    >>> round(change.gate.width_m, 1), change.track is not track
    (20.0, True)
    """

    track: Track
    gate: Gate
    remarks: tuple[str, ...]
    what: str

    def __repr__(self) -> str:
        return f"Change({reprlib.repr(self.track.id)}, {shortened(self.what)!r})"


def _change(before: Track, track: Track, gate: Gate, remarks: tuple[str, ...], what: str) -> Change:
    remarks = (*remarks, *renamings(before, track))
    return Change(track.revised_by(what, now()), gate, remarks, what)


def place_gate(
    track: Track,
    kind: GateKind,
    place: Place | str | float,
    *,
    width_m: float | None = None,
    name: str | None = None,
    anyway: bool = False,
) -> Change:
    """Place a new gate.

    Parameters
    ----------
    track
        The track.
    kind
        What the gate is for.
    place
        Where: a chainage in metres, a text such as ``412m``, ``LAT,LON`` or
        ``LAT,LON/LAT,LON``, or a `Place`.  Two surveyed ends are kept exactly as given.
    width_m
        Width of a gate square to the track, metres; None for the band and a margin.
    name
        For people; made from the kind when None.
    anyway
        Whether to place it though it cannot be meant: wider than 60 m and than twice the band
        with margins, not crossed by the line, its middle far from the line without spanning the
        pit lane, or a pit gate across the line.

    Returns
    -------
    Change
        The track with the gate, as ``write_track`` stores it for ``trackkit gate place``.

    Raises
    ------
    PlaceError
        When the place is off the track, the gate cannot be meant, or the track may not have
        another such gate.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> change = trackkit.place_gate(track, "speed", "200m", name="Straight")
    >>> change.gate.kind, change.gate.name
    ('speed', 'Straight')
    """
    where = replace(as_place(place), anyway=anyway)
    changed, gate, remarks = with_gate(track, kind, where, width_m=width_m, name=name)
    what = f"placed {kind} gate {gate.id} at {gate.chainage_m:.1f} m"
    return _change(track, changed, gate, remarks, what)


def move_gate(
    track: Track,
    id_or_name: str,
    place: Place | str | float,
    *,
    width_m: float | None = None,
    anyway: bool = False,
) -> Change:
    """Move a gate; it keeps its id, kind and name, and its width unless another is given.

    Moving the finish gate of a closed track moves chainage zero; every other gate stays where it
    is on the ground.

    Parameters
    ----------
    track
        The track.
    id_or_name
        Of the gate.
    place
        Where to; see `place_gate`.
    width_m
        Another width, metres; None to keep it.
    anyway
        Whether to move it though it cannot be meant there; see `place_gate`.

    Returns
    -------
    Change
        The track with the gate where it is now.

    Raises
    ------
    PlaceError
        When no gate has that id or name, the place is off the track, or the gate cannot be meant
        there.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> change = trackkit.move_gate(track, "Sector 1 end", "300m")
    >>> round(change.gate.chainage_m), change.what
    (300, 'moved gate gate-cst9 from 302.2 m to 300.0 m')
    """
    before = track.gate(id_or_name)
    where = replace(as_place(place), anyway=anyway)
    changed, gate, remarks = with_gate_moved(track, id_or_name, where, width_m=width_m)
    what = f"moved gate {gate.id} from {before.chainage_m:.1f} m"
    if gate.kind == "finish" and track.closed:
        what += ", which made its new place chainage 0"
    else:
        what += f" to {gate.chainage_m:.1f} m"
    return _change(track, changed, gate, remarks, what)


def widen_gate(track: Track, id_or_name: str, width_m: float) -> Change:
    """Give a gate another width where it is: square to the track, half on either side.

    Parameters
    ----------
    track
        The track.
    id_or_name
        Of the gate.
    width_m
        Its new width, metres.

    Returns
    -------
    Change
        The track with the gate as wide as that.

    Raises
    ------
    PlaceError
        When no gate has that id or name, or no gate may be so wide.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> round(trackkit.widen_gate(track, "Finish", 20.0).gate.width_m, 1)
    20.0
    """
    gate = track.gate(id_or_name)
    place = Place(chainage_m=gate.chainage_m)
    changed, gate, remarks = with_gate_moved(track, gate.id, place, width_m=width_m)
    return _change(track, changed, gate, remarks, f"made gate {gate.id} {gate.width_m:.1f} m wide")


def remove_gate(track: Track, id_or_name: str) -> Change:
    """Remove a gate.

    Parameters
    ----------
    track
        The track.
    id_or_name
        Of the gate.

    Returns
    -------
    Change
        The track without it, and the gate as it was.

    Raises
    ------
    PlaceError
        When no gate has that id or name, or it is one the track cannot be without.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> change = trackkit.remove_gate(track, "Sector 1 end")
    >>> [gate.name for gate in change.track.gates]
    ['Finish', 'Sector 1 end']
    """
    changed, gate = without_gate(track, id_or_name)
    what = f"removed gate {gate.id} ({gate.name}) at {gate.chainage_m:.1f} m"
    return _change(track, changed, gate, (), what)


def rename_gate(track: Track, id_or_name: str, name: str, *, by: str | None = None) -> Change:
    """Give a gate another name.

    Parameters
    ----------
    track
        The track.
    id_or_name
        Of the gate.
    name
        What to call it, at most `LONGEST_NAME` characters on one line.
    by
        Who says so, or None.

    Returns
    -------
    Change
        The track with the gate under its new name.

    Raises
    ------
    PlaceError
        When no gate has that id or name, or `name` cannot be a name.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> trackkit.rename_gate(track, "Sector 1 end", "Bridge").gate.name
    'Bridge'
    """
    gate = track.gate(id_or_name)
    renamed = called(gate, gate_name(name))
    changed = replace(track, gates=tuple(renamed if g is gate else g for g in track.gates))
    what = f"renamed gate {gate.id} from {gate.name} to {renamed.name}"
    return Change(changed.revised_by(what, now(), by), renamed, (), what)


def gate_name(text: str) -> str:
    """Take a text for a gate's name.

    Raises
    ------
    PlaceError
        When it is none.
    """
    name = text.strip()
    if not name or len(name) > LONGEST_NAME or not name.isprintable():
        raise PlaceError(
            f"a gate's name is 1 to {LONGEST_NAME} characters on one line",
            remedy="give it another name",
        )
    return name
