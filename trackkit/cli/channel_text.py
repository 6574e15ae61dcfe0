"""Channels of laps and sectors as text."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

import click

from trackkit.cli.common import table
from trackkit.timing.sessions import lap_name

if TYPE_CHECKING:
    from trackkit.timing.channel_figures import ChannelFigures
    from trackkit.timing.report import LapReport

_FIGURES = 4
_MOST_DECIMALS = 3
"""Of the largest value of a channel: sensors have no more."""


def print_channels(report: LapReport) -> None:
    """Print a table for each channel: its least, mean and largest value in laps and sectors."""
    laps = [lap for lap in report.laps if lap.channels]
    sectors = len(report.laps[0].sectors) if laps else 0
    for index in range(len(laps[0].channels) if laps else 0):
        cell = _cell_of([lap.channels[index] for lap in laps])
        rows = []
        for lap in laps:
            of_sectors = [sector.channels for sector in lap.sectors] if sectors > 1 else []
            parts = (channels[index] if channels else None for channels in of_sectors)
            rows.append([lap_name(report, lap), cell(lap.channels[index]), *map(cell, parts)])
        click.echo()
        click.echo(f"{laps[0].channels[index].title}: least / mean over time / largest")
        headings = [f"sector {number + 1}" for number in range(sectors if sectors > 1 else 0)]
        table(["lap", "whole lap", *headings], rows)


def _cell_of(of_laps: Sequence[ChannelFigures]) -> Callable[[ChannelFigures | None], str]:
    """Make cells that line up, with as many decimals as the largest value of a channel leaves.

    Values that are all whole, such as gears, need fewer.
    """
    ends = [
        value
        for figures in of_laps
        for value in (figures.least, figures.largest)
        if value is not None
    ]
    most = max(map(abs, ends), default=0.0)
    before = max(math.floor(math.log10(most)) + 1, 1) if most > 0 else 1
    whole = all(value == round(value) for value in ends)
    places = min(max(_FIGURES - before, 0), 1 if whole else _MOST_DECIMALS)
    width = max((len(f"{value:.{places}f}") for value in ends), default=0)

    def cell(figures: ChannelFigures | None) -> str:
        if figures is None or figures.mean is None:
            return "-"
        three = (figures.least, figures.mean, figures.largest)
        return " / ".join(f"{value:{width}.{places}f}" for value in three)

    return cell
