"""What parts a recording into sessions, and which laps count."""

from __future__ import annotations

from dataclasses import dataclass

from trackkit.errors import TrackkitError

STAND_S = 180.0
"""A vehicle that stands so long has ended a session (common practice, no source)."""
GAP_S = 60.0
"""So long without fixes ends a session: a receiver switched off (common practice, no source)."""
WITHIN = 1.07
"""Laps longer than this share of the best are slow (the usual 107 % rule; no source)."""


@dataclass(frozen=True)
class LapRules:
    """What parts a recording into sessions, and which laps count.

    Parameters
    ----------
    session_stand_s
        A session ends where the vehicle stands so long, seconds.
    session_gap_s
        A session ends where fixes are missing for so long, seconds.
    within
        A lap is slow that takes longer than this share of its session's best, above 1.
    all_laps
        Whether laps with something wrong with them count all the same.

    Raises
    ------
    TrackkitError
        When a number makes no sense.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> drive = trackkit.simulate_drive(track, laps=1, seed=1)
    >>> rules = trackkit.LapRules(session_stand_s=600.0)
    >>> len(trackkit.time_laps(track, drive.recording, rules).sessions)
    1
    """

    session_stand_s: float = STAND_S
    session_gap_s: float = GAP_S
    within: float = WITHIN
    all_laps: bool = False

    def __post_init__(self) -> None:
        if not (self.session_stand_s > 0 and self.session_gap_s > 0):
            raise TrackkitError(
                "a session ends after standing, or without fixes, for more than 0 s",
                remedy="give a number of seconds, such as 180",
            )
        if not self.within > 1:
            raise TrackkitError(
                f"no lap is within {100 * self.within:g} % of the best",
                remedy="give more than 100 %, such as 107",
            )


USUAL_RULES = LapRules()
