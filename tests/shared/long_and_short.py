"""Two invented layouts that share a straight, as track files."""

from dataclasses import replace

from drives import arc, straight, track_of


def layout(track_id, length_m):
    from drives import Road

    road = Road(
        (straight(length_m), arc(50, 180), straight(length_m), arc(50, 180)), start=(-200.0, -50.0)
    )
    track = track_of(road, gates=[("finish", "finish", 10.0)], spacing_m=5.0, name="Invented")
    return replace(track, id=track_id, layout=track_id.title(), revised="2024-01-01T00:00:00Z")


LAYOUTS = {"long": layout("long", 400.0), "short": layout("short", 250.0)}
