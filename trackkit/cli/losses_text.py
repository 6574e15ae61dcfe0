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

_LEAST_FIGURE = 0.1
"""No sigma of a speed is written as nought."""


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
    both = own, other
    braking = [_place(speeds.braking_m, speeds.braking_sigma_m) for speeds in both]
    least = [_speed(speeds.least_mps, speeds.least_sigma_mps) for speeds in both]
    ended = [_speed(speeds.end_mps, speeds.end_sigma_mps) for speeds in both]
    kind = {"straight": "", "corner entry": "into ", "corner exit": "out of "}[loss.section.kind]
    name = loss.section.name
    return [
        f"{kind}{name}" if kind else f"straight {name}",
        units().length_figure(loss.section.begin_m),
        units().length_figure(loss.section.end_m),
        difference_cell(difference),
        f"{loss.sigma_s:.3f}",
        " / ".join(least),
        " / ".join(ended),
        " / ".join(braking),
    ]


def _speed(speed_mps: float, sigma_mps: float) -> str:
    if math.isnan(speed_mps):
        return speed_cell(None)
    figure = speed_cell(speed_mps)
    if math.isnan(sigma_mps):
        return figure
    least = _LEAST_FIGURE / units().speed_per_mps
    return f"{figure} ±{speed_cell(max(sigma_mps, least))}"


def _place(place_m: float | None, sigma_m: float | None) -> str:
    if place_m is None:
        return "-"
    figure = units().length_figure(place_m)
    return figure if sigma_m is None else f"{figure} ±{units().length_figure(max(sigma_m, 1.0))}"
