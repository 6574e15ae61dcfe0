"""``trackkit underlay``, and the options of commands that lay a picture under what they draw."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from trackkit.cli.common import (
    Command,
    crs_option,
    force_option,
    json_option,
    print_json,
    refuse_outputs,
    remarks,
    table,
)

if TYPE_CHECKING:
    from trackkit.track.model import Track
    from trackkit.underlay.embed import EmbeddedPicture
    from trackkit.underlay.picture import Underlay
    from trackkit.underlay.plan import Fit, PlacedPlan

_BYTES_PER_MB = 1_000_000

underlay_option = click.option(
    "--underlay",
    "underlay_path",
    metavar="FILE",
    help="Picture of the ground to draw on, kept in the page itself: GeoTIFF, MBTiles, or JPEG, "
    "PNG or WebP with a world file. Needs the extra: pip install 'trackkit[underlay]'.",
)
underlay_crs_option = click.option(
    "--underlay-crs",
    metavar="CRS",
    help="Coordinate system of the picture, such as EPSG:25832, where the file does not say it.",
)
underlay_size_option = click.option(
    "--underlay-size",
    type=click.FloatRange(0.05, 100),
    default=3.0,
    show_default=True,
    metavar="MB",
    help="By how much the picture may make the page larger.",
)


def megabytes(size_mb: float) -> int:
    """Give a size in bytes."""
    return round(size_mb * _BYTES_PER_MB)


def picture_of(path: str | None, crs: str | None, credit: str | None) -> Underlay | None:
    """Read the picture that was asked for; None for none.

    Raises
    ------
    click.UsageError
        When an option about the picture comes without it.
    UnderlayError
        When it is no picture that says where it lies and whose it is.
    """
    if path is None:
        if crs is not None:
            raise click.UsageError("--underlay-crs is about a picture: give it with --underlay")
        return None
    from trackkit import read_underlay

    return read_underlay(path, crs=crs, credit=credit)


def embedded_in(picture: Underlay, track: Track, size_mb: float) -> EmbeddedPicture:
    """Cut a picture to a track for its page, and say what was cut.

    Raises
    ------
    UnderlayError
        When it does not reach the track, or can't be made small enough.
    """
    from trackkit import embed_underlay
    from trackkit.underlay.embed import embedding_remarks

    embedded = embed_underlay(picture, track, most_bytes=megabytes(size_mb))
    remarks(embedding_remarks(picture, embedded))
    return embedded


@click.command("underlay", cls=Command)
@click.argument("plan", metavar="PLAN")
@click.option(
    "--points",
    required=True,
    metavar="FILE",
    help="CSV of three or more places: x and y on the plan, then latitude and longitude, or east "
    "and north with --crs, or place (a chainage such as 412m with --on); and a name.",
)
@click.option("-o", "--output", required=True, metavar="FILE", help="GeoTIFF (.tif) to write.")
@click.option(
    "--credit", required=True, metavar="TEXT", help="Whose plan it is; shown wherever it is."
)
@click.option(
    "--fit",
    type=click.Choice(["affine", "projective"]),
    default="affine",
    show_default=True,
    help="Affine for maps, scans and pictures from straight above; projective for a picture from "
    "aslant, with four points or more.",
)
@click.option("--on", "track_path", metavar="TRACK", help="Track that chainages count on.")
@click.option(
    "--page", type=click.IntRange(1), default=1, metavar="N", show_default=True, help="Of a PDF."
)
@crs_option
@force_option
@json_option
def underlay_command(
    plan: str,
    points: str,
    output: str,
    credit: str,
    fit: Fit,
    track_path: str | None,
    page: int,
    crs: str | None,
    force: bool,
    as_json: bool,
) -> None:
    """Place a plan without coordinates, such as a photo, a scan or a PDF, on the ground.

    Points are told on the plan, from its left and top edge in pixels (of a PDF in millimetres),
    and on the ground. The plan is laid by least squares; what is left at each point is shown in
    metres, and a point that does not go with the others is named. The GeoTIFF serves as --underlay
    of map, edit and build, and in other programs.
    """
    from trackkit import place_plan, read_plan_points, read_track, write_placed_plan
    from trackkit.underlay.plan import OF_A_BAD_POINT, place_remarks, point_name
    from trackkit.underlay.sheets import pixel_of

    if not output.lower().endswith((".tif", ".tiff")):
        raise click.UsageError("-o names a GeoTIFF: end it with .tif")
    refuse_outputs({"-o": output}, force=force)
    track = None if track_path is None else read_track(track_path)
    # Points that place nothing are told before a large plan is read.
    placed = place_plan(read_plan_points(points, crs=crs, track=track), fit, pixel=pixel_of(plan))
    write_placed_plan(placed, plan, output, credit=credit, page=page, force=force)
    if as_json:
        print_json({"wrote": output, **_row(placed), "remarks": place_remarks(placed)})
        return
    table(
        ["point", "east m", "north m", "away m", ""],
        [
            [
                point_name(placed, n),
                f"{east:.2f}",
                f"{north:.2f}",
                f"{(east**2 + north**2) ** 0.5:.2f}",
                OF_A_BAD_POINT if n == placed.suspect else "",
            ]
            for n, (east, north) in enumerate(placed.residual_m.tolist())
        ],
        title="What is left at each point",
    )
    click.echo(f"wrote {output}")
    remarks(place_remarks(placed))


def _row(placed: PlacedPlan) -> dict[str, Any]:
    return {
        "fit": placed.fit,
        "points": [
            {"name": point.name or None, "east_m": east, "north_m": north}
            for point, (east, north) in zip(placed.points, placed.residual_m.tolist(), strict=True)
        ],
        "rms_m": placed.rms_m,
        "sigma_m": placed.sigma_m,
        "suspect": placed.suspect,
    }
