"""``trackkit reverse``: the same track driven the other way."""

from __future__ import annotations

import click

from trackkit.cli.common import (
    Command,
    force_option,
    gate_rows,
    gate_table,
    json_option,
    print_json,
    remarks,
    units_option,
)


@click.command(cls=Command)
@click.argument("track_path", metavar="TRACK")
@click.option("-o", "--output", required=True, metavar="TRACK", help="Track file to write.")
@force_option
@units_option
@json_option
def reverse(track_path: str, output: str, force: bool, as_json: bool) -> None:
    """Make the other direction's track file, with gates turned.

    Nothing moves on the ground: the line runs the other way from the same finish gate, gates swap
    their ends, pit entry and pit exit change places, on an open course start and finish too.
    """
    from trackkit import read_track, reverse_track, write_track

    turned, texts = reverse_track(read_track(track_path))
    turned = write_track(turned, output, force=force)
    if as_json:
        print_json(
            {
                "track": output,
                "id": turned.id,
                "layout": turned.layout,
                "direction": turned.direction,
                "gates": gate_rows(turned.gates),
                "remarks": list(texts),
            }
        )
    else:
        way = f", {turned.direction}" if turned.direction else ""
        click.echo(f"wrote {output}: {turned.id}{way}")
        gate_table(turned.gates)
    remarks(texts)
