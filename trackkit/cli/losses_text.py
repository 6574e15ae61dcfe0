"""Where laps lost time, as text."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from trackkit.cli.common import table
from trackkit.cli.time_cells import difference_cell, speed_cell
from trackkit.timing.losses import Loss, losses_to
from trackkit.timing.sessions import Difference, lap_name
from trackkit.units import units

if TYPE_CHECKING:
    from trackkit.timing.losses import SessionSections
    from trackkit.timing.sessions import Reference, Session


def print_losses(
    sessions: Sequence[Session], sections: Sequence[SessionSections], reference: Reference
) -> None:
    """Print where the best lap of each recording, but for the reference, lost time to it."""
    for session in sessions:
        compared = [
            lap
            for lap in session.report.counted
            if session is not reference.session or lap is not reference.lap
        ]
        lap = min(compared, key=lambda lap: lap.time_s or 0.0, default=None)
        lost = None if lap is None else losses_to(reference, sessions, sections, session, lap)
        if lap is None or lost is None:
            continue
        click.echo()
        own, other = (
            lap_name(session.report, lap),
            lap_name(reference.session.report, reference.lap),
        )
        click.echo(
            f"where lap {own} of {session.label} lost time to lap {other} of "
            f"{reference.session.label}, the largest loss first"
        )
        header = [
            "where",
            f"from {units().length}",
            f"to {units().length}",
            "lost s",
            "±",
            f"least {units().speed}",
            f"end {units().speed}",
            f"braking from {units().length}",
        ]
        table(header, [_cells(loss) for loss in lost])


def _cells(loss: Loss) -> list[str]:
    difference = Difference(loss.time_s, loss.sigma_s)
    own, other = loss.speeds, loss.other_speeds
    braking = [
        "-" if speeds.braking_m is None else units().length_figure(speeds.braking_m)
        for speeds in (own, other)
    ]
    kind = {"straight": "", "corner entry": "into ", "corner exit": "out of "}[loss.section.kind]
    name = loss.section.name
    return [
        f"{kind}{name}" if kind else f"straight {name}",
        units().length_figure(loss.section.begin_m),
        units().length_figure(loss.section.end_m),
        difference_cell(difference),
        f"{loss.sigma_s:.3f}",
        f"{_speed(own.least_mps)} / {_speed(other.least_mps)}",
        f"{_speed(own.end_mps)} / {_speed(other.end_mps)}",
        f"{braking[0]} / {braking[1]}",
    ]


def _speed(speed_mps: float) -> str:
    return speed_cell(None if math.isnan(speed_mps) else speed_mps)
