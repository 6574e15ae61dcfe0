"""The verdict on a track: fit to hand on or not, why not, and the one thing to do next."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from trackkit.checks.findings import Finding, Severity
from trackkit.remedies import Remedy
from trackkit.track.accuracy import Verdict
from trackkit.track.credit import is_map_drawn
from trackkit.track.digest import SHORT_LETTERS, confirmed, geometry_digest, is_confirmed
from trackkit.track.features import BESIDE_THE_TRACK, Gate
from trackkit.track.history import now
from trackkit.track.model import Track
from trackkit.words import counted

MOST_GATE_SIGMA_M = 1.5
"""One sigma of the line at a gate, at most."""
MOST_CARRIED = 0.05
"""Share of the line that may bridge gaps without fixes, at most.  No gate may lie on such a gap,
no error may be found, and no warning that nobody has accepted: docs/methods.md lists the limits."""
USUAL_LAPS = 3
MOST_LAPS = 20
"""More laps than this in one go help little: the receiver's wander is that of the day."""
_ELSEWHERE = "recording-elsewhere"


@dataclass(frozen=True)
class Judgement:
    """What was judged of a track.

    Parameters
    ----------
    verdict
        Fit or not, the reasons why not, and the digest of the geometry that was judged.
    next_step
        The one thing to do next; None where there is nothing to do.
    remarks
        What to know besides, a clause each: nothing that makes a track unfit.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> judgement = trackkit.judge_track(track, trackkit.check_track(track))
    >>> judgement.fit, judgement.verdict.reasons
    (False, ('nobody has said how well the drawn line is known',))
    """

    verdict: Verdict
    next_step: Remedy | None
    remarks: tuple[str, ...]

    def __repr__(self) -> str:
        fit = "fit" if self.fit else f"not fit, {counted(self.verdict.reasons, 'reason')}"
        return f"Judgement({fit})"

    @property
    def fit(self) -> bool:
        """Whether the track is fit to hand on."""
        return self.verdict.fit

    @property
    def letters(self) -> str:
        """The digest of the geometry, shortened to what people compare."""
        return self.verdict.digest[:SHORT_LETTERS]

    def as_row(self) -> dict[str, Any]:
        """Write the judgement as JSON.

        Returns
        -------
        dict
            ``fit``, ``reasons``, ``digest`` and ``date`` as a track file has them, ``letters``,
            ``next`` (a sentence or None), ``action`` (as a finding has it) and ``remarks``.
        """
        step = self.next_step
        return {
            "fit": self.fit,
            "reasons": list(self.verdict.reasons),
            "next": None if step is None else step.what,
            "action": None if step is None else step.as_row(),
            "remarks": list(self.remarks),
            "letters": self.letters,
            "digest": self.verdict.digest,
            "date": self.verdict.date,
        }


_SURVEY = Remedy(
    "build the track from laps; or measure how far the drawn line is from places surveyed along "
    "the track, and say it",
    do="set",
    value={"accuracy_m": "METRES"},
)
"""What makes a drawn line as good as it must be: laps do not move one."""
_MAP_DRAWN = "its line is as drawn in open map data: not fit to hand on until driven"
_SUGGESTED = "the finish gate is a suggestion: nobody has placed it on the line that counts"
_Reason = tuple[str, Remedy]


def judge_track(track: Track, findings: Iterable[Finding], *, recorded: bool = False) -> Judgement:
    """Judge whether a track is fit to hand on.

    It is where no error is found, no warning that the file does not accept, where one sigma of the
    line is at most `MOST_GATE_SIGMA_M` at every gate, no gate lies on a carried stretch, and at
    most `MOST_CARRIED` of the line is carried.

    Parameters
    ----------
    track
        The track.
    findings
        What `check_track` found in it as it is.
    recorded
        Whether recordings were among what it was checked with, or the line was just built of them.

    Returns
    -------
    Judgement
        Of today.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> judgement = trackkit.judge_track(track, trackkit.check_track(track))
    >>> judgement.fit, len(judgement.letters)
    (False, 8)
    """
    listed = list(findings)
    reasons = [
        *_of_findings(listed, "error"),
        *_of_accuracy(track),
        *_of_findings(listed, "warning"),
    ]
    checked = recorded and not any(finding.rule == _ELSEWHERE for finding in listed)
    verdict = Verdict(
        fit=not reasons,
        reasons=tuple(text for text, _ in reasons),
        digest=geometry_digest(track),
        date=now()[:10],
    )
    remarks: list[str] = []
    step = reasons[0][1] if reasons else None
    if checked:
        verdict = confirmed(verdict, track)
    elif not is_confirmed(track):
        remarks.append("no recording has confirmed the line since it was changed")
        if step is None:
            step = Remedy("drive a few laps and hold the line against them", do="check recording")
    suggested = [gate for gate in track.gates if gate.suggested]
    if suggested:
        remarks.append(_SUGGESTED)
        if step is None:
            step = Remedy("move the finish gate", do="gate move", feature=suggested[0].id)
    return Judgement(verdict, step, tuple(remarks))


def stored_verdict(track: Track) -> Verdict | None:
    """Return the verdict in a track's file while it is about the geometry that the track has.

    Parameters
    ----------
    track
        The track.

    Returns
    -------
    Verdict or None
        None where there is none, or the geometry has changed since.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> trackkit.stored_verdict(track) is None
    True
    """
    verdict = track.verdict
    if verdict is None or verdict.digest != geometry_digest(track):
        return None
    return verdict


def _of_findings(findings: Sequence[Finding], severity: Severity) -> list[_Reason]:
    """Put findings of one severity that nobody has accepted into one reason."""
    some = [f for f in findings if f.severity == severity and not f.accepted]
    if not some:
        return []
    rules = Counter(finding.rule for finding in some)
    named = ", ".join(rule if n == 1 else f"{rule} ({n})" for rule, n in rules.items())
    return [(f"{counted(some, severity)}: {named}", some[0].remedy)]


def _of_accuracy(track: Track) -> list[_Reason]:
    if is_map_drawn(track):
        return [(_MAP_DRAWN, _laps(track, "drive three laps and fold them in, which measures it"))]
    if track.centreline.accuracy_profile is None:
        return _of_whole_accuracy(track)
    return [*_of_carried(track), *_of_gates(track)]


def _of_whole_accuracy(track: Track) -> list[_Reason]:
    """Judge a line of which the file knows at most one number."""
    sigma_m = track.accuracy_m
    if track.line == "driven":
        return [
            (
                "how good each metre of the line is, the file does not say",
                _laps(track, "drive three laps and fold them in, which measures it"),
            )
        ]
    if sigma_m is None:
        return [("nobody has said how well the drawn line is known", _SURVEY)]
    if sigma_m > MOST_GATE_SIGMA_M:
        what = f"the drawn line is known to {sigma_m:.1f} m, more than {MOST_GATE_SIGMA_M} m"
        return [(what, _SURVEY)]
    return []


def _of_carried(track: Track) -> list[_Reason]:
    metres = (track.centreline.metres_of_kinds() or {})["carried"]
    share = metres / track.curve.length_m
    if share <= MOST_CARRIED:
        return []
    what = f"{metres:,.0f} m of the line ({100.0 * share:.0f} %) bridge gaps without fixes"
    step = _laps(track, "drive three laps with the receiver logging every fix, and fold them in")
    return [(f"{what}, more than {100.0 * MOST_CARRIED:.0f} %", step)]


def _of_gates(track: Track) -> list[_Reason]:
    reasons: list[_Reason] = []
    vague: list[tuple[Gate, float]] = []
    drawn = False
    for gate in track.gates:
        accuracy = track.centreline.accuracy_at(gate.chainage_m)
        if gate.kind in BESIDE_THE_TRACK or accuracy is None:
            continue
        sigma, kind = float(accuracy[0]), str(accuracy[1])
        if kind == "carried":
            reasons.append(
                (
                    f"gate {gate.name} lies on a stretch without fixes",
                    _laps(track, "drive three laps with the receiver logging, and fold them in"),
                )
            )
        elif sigma > MOST_GATE_SIGMA_M:
            vague.append((gate, sigma))
            drawn = drawn or kind == "drawn"
    if vague:
        gate, sigma = max(vague, key=lambda pair: pair[1])
        others = "" if len(vague) == 1 else f", and at {counted(vague[1:], 'more gate')}"
        line = "the drawn line" if drawn else "the line"
        what = f"{line} is known to {sigma:.1f} m at gate {gate.name}{others}"
        step = _sharper(track, gate, sigma)
        if drawn:
            step = _measured_again(track)
        reasons.append((f"{what}, more than {MOST_GATE_SIGMA_M} m", step))
    return reasons


def _measured_again(track: Track) -> Remedy:
    """Say what makes a line better that was drawn, in places or all round."""
    if track.line == "driven":
        return _laps(track, "drive three laps and fold them in")
    if all(row.kind == "drawn" for row in track.centreline.accuracy_profile or ()):
        return _SURVEY
    return Remedy("record both edges again where the line was drawn, and build the track from them")


def _sharper(track: Track, gate: Gate, sigma_m: float) -> Remedy:
    """Say what brings one sigma under the limit: it falls with the root of the number of laps."""
    driven = sum(int(source.get("laps", 0) or 0) for source in track.sources)
    more = math.ceil(max(driven, 1) * ((sigma_m / MOST_GATE_SIGMA_M) ** 2 - 1.0))
    if more > MOST_LAPS:
        return _laps(track, "record again with a better receiver, and fold its laps in")
    laps = counted(range(max(more, USUAL_LAPS)), "more lap" if track.closed else "more run")
    what = f"drive {laps}, best on another day, and fold them in"
    if not gate.surveyed and gate.kind == "finish":
        what += "; survey the ends of the finish line besides"
    return _laps(track, what)


def _laps(track: Track, what: str) -> Remedy:
    called = what if track.closed else what.replace("laps", "runs")
    return Remedy(called, do="build revise")
