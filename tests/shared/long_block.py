"""A block whose northern straight may have been rebuilt, and days of laps on it."""

import numpy as np
from drives import Road, arc, drive, straight


def long_block(kink_m=0.0):
    """1,388 m round a block; with a kink, the northern straight makes a detour to the outside."""
    bend = arc(30, 90)
    if kink_m:
        lean = np.degrees(np.arccos(1 - kink_m / 2 / 40.0))
        detour = (arc(-40, lean), arc(40, 2 * lean), arc(-40, lean))
        used = 4 * 40.0 * np.sin(np.radians(lean))
        north = (straight(200 - used / 2), *detour, straight(200 - used / 2))
    else:
        north = (straight(400),)
    return Road(
        (
            straight(200),
            bend,
            straight(200),
            bend,
            *north,
            bend,
            straight(200),
            bend,
            straight(200),
        ),
        start=(0.0, -130.0),
    )


def recorded(road, *, laps=3.2, seed=1, name="day", noise=1.0):
    return drive(road, begin_m=30.0, laps=laps, cruise=20.0).recording(
        10, doppler=True, noise=noise, seed=seed, name=name
    )
