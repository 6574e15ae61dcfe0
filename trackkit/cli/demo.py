"""``trackkit demo``: the whole job on an invented circuit, each step with its command."""

from __future__ import annotations

import shlex
from pathlib import Path

import click

from trackkit.cli.common import Command
from trackkit.errors import OutputError, TrackkitError

CIRCUIT = "pipwick-kart-circuit"
"""Id of the shipped, invented circuit that the demo drives on."""


@click.command(cls=Command)
@click.option("--out", metavar="DIR", help="Folder to work in.  [default: a new trackkit-demo]")
def demo(out: str | None) -> None:
    """Show the whole job on an invented circuit: record, build, gates, check, time, locate, map.

    Every step is printed with the command that does it.
    """
    from trackkit import read_track
    from trackkit.library.folders import shipped_folder

    circuit = shipped_folder() / f"{CIRCUIT}.geojson"
    truth = read_track(circuit)
    folder = _folder(out)
    lap, session = str(folder / "out-lap.nmea"), str(folder / "session.csv")
    track, page = str(folder / "circuit.geojson"), str(folder / "map.html")
    click.echo(
        f"Everything goes to the folder {folder}.  The circuit, {truth.name}, is invented, and so "
        "is its receiver.\n"
    )
    _step(
        "A receiver records an out lap and one flying lap, between a parked start and an in lap",
        ["simulate", str(circuit), "-o", lap, "--laps", "1", "--seed", "1"],
    )
    _step(
        "The lap is found in the recording and becomes a track file, with a finish gate",
        ["build", lap, "--name", truth.name, "--layout", truth.layout, "-o", track]
        if truth.layout
        else ["build", lap, "--name", truth.name, "-o", track],
    )
    built = read_track(track)
    for number, share in enumerate((0.42, 0.69), start=1):
        _step(
            f"Sector gate {number} is placed",
            ["gate", "place", track, "sector", f"{share * built.length_m:.0f}m"],
        )
    _step("The geometry is checked", ["check", track])
    _step(
        "A session is driven over it, with another seed",
        ["simulate", str(circuit), "-o", session, "--laps", "5", "--seed", "2"],
    )
    _step("Its laps and sectors are timed", ["laps", track, session])
    longitude, latitude = built.plane.to_geographic(
        built.curve.position(0.0) + 20.0 * built.curve.left(0.0)
    )
    _step(
        "Someone standing beside the finish gate asks which circuit this is",
        ["locate", f"{float(latitude):.5f}", f"{float(longitude):.5f}", "--library", str(folder)],
    )
    _step(
        "All of it is drawn on one page that needs no network",
        ["map", track, session, "-o", page],
    )
    click.echo(f"Open {page} in a browser; the track file to hand on is {track}.")


def _folder(out: str | None) -> Path:
    """Make the folder to work in; a name that is taken is only refused when it was asked for."""
    folder = Path(out or "trackkit-demo")
    number = 2
    while out is None and folder.exists():
        folder = Path(f"trackkit-demo-{number}")
        number += 1
    try:
        folder.mkdir(parents=True, exist_ok=True)
        taken = any(folder.iterdir())
    except OSError as error:
        raise OutputError(
            f"cannot be used as a folder ({error.strerror})",
            file=folder,
            remedy="name another with --out",
        ) from error
    if taken:
        raise OutputError("is not empty", file=folder, remedy="name a new folder with --out")
    return folder


def _step(what: str, command: list[str]) -> None:
    """Say what comes, print the command, and run it as the user would."""
    from trackkit.cli import cli

    click.secho(f"{what}:", bold=True)
    click.echo(f"$ trackkit {shlex.join(command)}")
    status = cli.main(args=command, prog_name="trackkit", standalone_mode=False)
    click.echo()
    if isinstance(status, int) and status != 0:
        raise TrackkitError(f"the step `trackkit {command[0]}` failed with status {status}")
