"""Official lap times beside recorded ones, as text."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from trackkit.cli.common import duration, table
from trackkit.cli.time_cells import difference_cell, difference_sigma, sigma_text, time_cell
from trackkit.official.pairing import SURE
from trackkit.timing.decimals import decimals
from trackkit.timing.sessions import Difference, lap_name

if TYPE_CHECKING:
    from trackkit.official.pairing import Agreement, Pairing
    from trackkit.timing.report import LapReport


def print_pairing(pairing: Pairing, report: LapReport) -> None:
    """Print how official times agree with the laps of a recording."""
    click.echo()
    count = len(pairing.pairs)
    click.echo(f"official times of {pairing.times.file}: {count} pair{'' if count == 1 else 's'}")
    if not pairing.pairs:
        click.echo(
            "no official time agrees with a recorded lap: is it another driver's, or session's?"
        )
    rows = []
    for pair in pairing.pairs:
        difference = Difference(pair.difference_s, pair.sigma_s)
        notes = ["outlier"] if pair.outlier else []
        if pair.probability < SURE:
            notes.append(f"in doubt ({pair.probability:.0%} probable)")
        rows.append(
            [
                str(pair.official.number),
                duration(pair.official.time_s),
                lap_name(report, pair.lap),
                time_cell(pair.lap.time_s, pair.lap.sigma_s),
                difference_cell(difference) + difference_sigma(difference),
                ", ".join(notes),
            ]
        )
    if rows:
        table(
            ["official lap", "official", "lap", "recorded", "recorded less official", "remark"],
            rows,
        )
    official = [str(lap.number) for lap in pairing.official_alone]
    _print_alone("official laps without a recorded one", official)
    alone = [lap_name(report, lap) for lap in pairing.laps_alone]
    _print_alone("recorded laps without an official one", alone)
    outliers = [lap_name(report, pair.lap) for pair in pairing.pairs if pair.outlier]
    if pairing.agreement is not None:
        _print_agreement("recorded less official", pairing.agreement)
        click.echo(f"outliers: {', '.join(f'lap {number}' for number in outliers) or 'none'}")
    listed = max((len(pair.official.sectors_s) for pair in pairing.pairs), default=0)
    if listed and not pairing.sectors:
        timed = len(pairing.pairs[0].lap.sectors)
        click.echo(f"sectors are not compared: the list has {listed}, the track {timed}")
    for number, agreement in enumerate(pairing.sectors, start=1):
        if agreement is not None:
            _print_agreement(f"sector {number}", agreement)


def _print_alone(what: str, names: Sequence[str]) -> None:
    if names:
        click.echo(f"{what}: {', '.join(names)}")


def _print_agreement(what: str, agreement: Agreement) -> None:
    places = decimals(agreement.bias_sigma_s)
    bias = duration(agreement.bias_s, places)
    sign = "" if bias.startswith("-") else "+"
    text = f"{what}: bias {sign}{bias}"
    if agreement.bias_sigma_s is not None and agreement.spread_s is not None:
        text += f" {sigma_text(agreement.bias_sigma_s, places)}, spread {agreement.spread_s:.3f}"
    if agreement.expected_s is not None:
        text += f" ({agreement.expected_s:.3f} expected from the uncertainties)"
    without = f", {len(agreement.outliers)} left out" if agreement.outliers else ""
    click.echo(f"{text}, over {agreement.count}{without}")
