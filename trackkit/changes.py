"""Changes of gates, each with the sentence that a track file's history keeps of it."""

from __future__ import annotations

from dataclasses import dataclass, replace

from trackkit.errors import PlaceError
from trackkit.gates import move_gate, place_gate, remove_gate
from trackkit.places import Place
from trackkit.track import Gate, GateKind, Track

LONGEST_NAME = 100


@dataclass(frozen=True, eq=False)
class Change:
    """A track with a gate changed.

    Parameters
    ----------
    track
        With the change, and without a line of history of it.
    gate
        The gate, as it is now or as it was before it was removed.
    remarks
        What to tell the user besides.
    told
        What was done, for the history.
    """

    track: Track
    gate: Gate
    remarks: tuple[str, ...]
    told: str


def placed(
    track: Track,
    kind: GateKind,
    place: Place,
    *,
    width_m: float | None = None,
    name: str | None = None,
) -> Change:
    """Place a gate; see `trackkit.gates.place_gate`."""
    changed, gate, said = place_gate(track, kind, place, width_m=width_m, name=name)
    return Change(changed, gate, said, f"placed {kind} gate {gate.id} at {gate.chainage_m:.1f} m")


def moved(track: Track, id_or_name: str, place: Place, *, width_m: float | None = None) -> Change:
    """Move a gate; see `trackkit.gates.move_gate`."""
    before = track.gate(id_or_name)
    changed, gate, said = move_gate(track, id_or_name, place, width_m=width_m)
    told = f"moved gate {gate.id} from {before.chainage_m:.1f} m"
    if gate.kind == "finish" and track.closed:
        told += ", which made its new place chainage 0"
    else:
        told += f" to {gate.chainage_m:.1f} m"
    return Change(changed, gate, said, told)


def widened(track: Track, id_or_name: str, width_m: float) -> Change:
    """Give a gate another width where it is: square to the track, half on either side."""
    gate = track.gate(id_or_name)
    place = Place(chainage_m=gate.chainage_m)
    changed, gate, said = move_gate(track, gate.id, place, width_m=width_m)
    return Change(changed, gate, said, f"made gate {gate.id} {gate.width_m:.1f} m wide")


def removed(track: Track, id_or_name: str) -> Change:
    """Remove a gate; see `trackkit.gates.remove_gate`."""
    changed, gate = remove_gate(track, id_or_name)
    told = f"removed gate {gate.id} ({gate.name}) at {gate.chainage_m:.1f} m"
    return Change(changed, gate, (), told)


def renamed(track: Track, id_or_name: str, name: str) -> Change:
    """Call a gate something else.

    Raises
    ------
    PlaceError
        When no gate answers to `id_or_name`, or the name is none.
    """
    gate = track.gate(id_or_name)
    called = replace(gate, name=gate_name(name))
    changed = replace(track, gates=tuple(called if g is gate else g for g in track.gates))
    told = f"renamed gate {gate.id} from {gate.name} to {called.name}"
    return Change(changed, called, (), told)


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
