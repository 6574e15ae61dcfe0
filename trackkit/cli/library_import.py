"""``trackkit library import``: circuits drawn in open map data."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from trackkit.cli.common import (
    Command,
    json_option,
    print_json,
    remark,
    remarks,
    table,
    units_option,
)
from trackkit.cli.library import library, library_option, made_folders, opened
from trackkit.cores import cores
from trackkit.units import units
from trackkit.words import counted

if TYPE_CHECKING:
    from trackkit.open_map.import_circuits import MapImport

_LISTED = 40


@library.command("import", cls=Command)
@click.argument("extract", metavar="EXTRACT")
@library_option
@units_option
@json_option
def import_command(extract: str, given: tuple[str, ...], as_json: bool) -> None:
    """Import the circuits that open map data have (OpenStreetMap, PBF or XML).

    EXTRACT is a file such as region.osm.pbf. Each closed loop of ways tagged as raceways or tracks
    of motor sports becomes a layout, in the direction of its one-way tags, or else in both. Lines
    are as somebody drew them and finish gates are suggestions: no such track is fit to hand on
    until it is driven and `trackkit build --revise` has folded laps in. A newer extract brings
    them up to date; gates, names and lines that people made stay.

    Tracks go into the first folder of --library, else of TRACKKIT_LIBRARY, else into the user's
    own. They are under the licence of the data, ODbL 1.0, which asks for the credit in them.
    """
    from trackkit import import_open_map

    made_folders(given)
    searched = opened(given)
    done = import_open_map(
        extract, given[0] if given else None, library=searched, processes=cores()
    )
    if as_json:
        print_json(done.as_row())
    else:
        _print(done)
    _say(done)


def _print(done: MapImport) -> None:
    shown = units()
    changed = [circuit for circuit in done.circuits if circuit.done != "unchanged"]
    if changed:
        table(
            ["id", "name", "layout", "direction", f"length {shown.length}", "one-way", "done"],
            [
                [
                    circuit.id,
                    circuit.name,
                    circuit.layout,
                    circuit.direction or "-",
                    f"{circuit.length_m * shown.length_per_m:,.0f}",
                    "yes" if circuit.one_way else "both offered",
                    circuit.done,
                ]
                for circuit in changed[:_LISTED]
            ],
        )
    if len(changed) > _LISTED:
        click.echo(f"and {len(changed) - _LISTED:,} more")
    if not done.circuits:
        click.echo("no circuit is in it")
        return
    click.echo(f"{done.summary} in {done.folder}")


def _say(done: MapImport) -> None:
    from trackkit.open_map.tags import CREDIT

    remarks(done.remarks)
    remarks(
        f"{circuit.id}: {text}"
        for circuit in done.circuits
        if circuit.done != "unchanged"
        for text in circuit.remarks
    )
    remarks(
        f"{counted(range(ways), 'way was', 'ways were')} left out: {reason}"
        for reason, ways in sorted(done.left_out.items())
    )
    if done.not_there:
        are = "is" if len(done.not_there) == 1 else "are"
        remark(
            f"{counted(done.not_there, 'circuit')} of an earlier import {are} not in this extract "
            f"and stay in the library: {', '.join(done.not_there[:8])}"
        )
    if done.circuits:
        remark(
            "lines are as drawn on the map and finish gates are suggestions: not fit to hand on "
            "until driven"
        )
        remark(f"credit wherever they are shown: {CREDIT}")
