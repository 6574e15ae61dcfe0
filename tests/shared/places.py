"""Where invented circuits may lie: open sea and desert, with nothing and nobody there.

tests/test_places_on_earth.py looks for coordinates all over tests/, tracks/, docs/ and README.md
and lets none be anywhere else.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Place:
    """A box on the Earth.

    Parameters
    ----------
    name
        Invented.
    longitude_deg, latitude_deg
        Its middle.
    reach_deg
        How far it goes from there, north, south, east and west.
    what
        What is there (from memory).
    """

    name: str
    longitude_deg: float
    latitude_deg: float
    reach_deg: float
    what: str

    def holds(self, longitude_deg: float, latitude_deg: float) -> bool:
        """Tell whether a position is in the box; longitudes of a turn more are the same."""
        east = (longitude_deg - self.longitude_deg + 180.0) % 360.0 - 180.0
        north = latitude_deg - self.latitude_deg
        return max(abs(east), abs(north)) <= self.reach_deg


PLACES = (
    # Where most tests are.
    Place("Gannet Reach", 162.0, 47.0, 3.2, "open Pacific, east of the Kuril Islands"),
    Place("Tern Reach", 180.0, -27.0, 1.2, "open Pacific, astride the antimeridian"),
    Place("Petrel Reach", -30.5, -41.2, 1.0, "open South Atlantic"),
    Place("Skua Reach", -21.5, 52.0, 1.2, "open Atlantic, west of Ireland"),
    Place("Fulmar Reach", 104.95, -37.8, 0.6, "open Indian Ocean, south-west of Australia"),
    Place("Nought", 0.0, 0.0, 3.5, "Gulf of Guinea; what receivers write when they have no fix"),
    # Somewhere else.
    Place("Murrelet Reach", -128.0, 43.0, 0.5, "open Pacific, west of North America"),
    Place("Auk Reach", 5.7, 70.0, 1.0, "Norwegian Sea"),
    Place("Auk Reach, North", 5.7, 80.0, 1.0, "Fram Strait"),
    Place("Kittiwake Reach", 0.0, 65.0, 1.0, "Norwegian Sea"),
    Place("Ice Reach", 0.0, 78.2, 1.0, "Greenland Sea"),
    Place("Ice Reach, North", 0.0, 86.0, 1.0, "Arctic Ocean"),
    Place("Noddy Reach", -20.0, 0.0, 2.0, "open Atlantic, on the equator"),
    Place("Booby Reach", 66.8, 0.0, 1.0, "open Indian Ocean, on the equator"),
    Place("Booby Reach, West", 60.0, 0.2, 1.5, "open Indian Ocean, on the equator"),
    Place("Shearwater Reach", -30.0, 10.0, 1.0, "open Atlantic"),
    Place("Dust Reach", 60.0, 10.0, 1.0, "Arabian Sea"),
    Place("Prion Reach", -92.0, -52.0, 1.0, "open South Pacific"),
    Place("Prion Reach, South", -98.3, -54.8, 1.0, "open South Pacific"),
    Place("Albatross Reach", -170.0, -40.0, 1.0, "open South Pacific"),
    Place("Murre Reach", 180.0, 59.0, 1.0, "Bering Sea"),
    Place("Murre Reach, South", 180.0, 48.0, 1.0, "open Pacific"),
    Place("Wrack Reach", 180.0, 12.0, 2.2, "open Pacific, on the antimeridian"),
    Place("Float Reach", 180.0, 1.0, 1.2, "open Pacific, on the antimeridian and the equator"),
    Place("Floe Reach", 180.0, 70.0, 0.2, "Arctic strait, on the antimeridian"),
    Place("Drift Reach", -151.2, -33.9, 0.5, "open South Pacific"),
    Place("Greenwich Reach", 0.0, -33.0, 0.5, "open South Atlantic"),
    Place("Weed Reach", -11.5, 48.1, 0.5, "open Atlantic, west of Brittany"),
    Place("Opposite", -170.0, 0.0, 1.0, "open Pacific, on the equator"),
    Place("Far South", -169.0, -47.0, 1.0, "open South Pacific"),
    Place("Dry Reach", 5.0, 24.0, 0.5, "Sahara"),
    Place("White Reach", -70.0, -80.0, 1.0, "desert of ice, Antarctica"),
    Place("Long Swell", -30.0, 47.0, 1.0, "open Atlantic"),
    Place("Long Swell, turned", 47.0, -30.0, 1.0, "open Indian Ocean, south of Madagascar"),
    # The sample circuits: tracks/circuits.py says of each what it is drawn in.
    Place("Pipwick", 83.35, 38.72, 0.1, "Taklamakan Desert"),
    Place("Morrowfen", -38.47, 41.62, 0.1, "open Atlantic"),
    Place("Ruddlebeck", -87.93, -5.87, 0.1, "open Pacific"),
    Place("Saltpenny Atoll", 180.0, -25.31, 0.1, "open Pacific, astride the antimeridian"),
    Place("Twistlemoor", 137.42, -25.24, 0.1, "Simpson Desert"),
    Place("Orrinback Hill", -27.46, 61.83, 0.1, "open Atlantic, south-west of Iceland"),
    Place("Gullhatch", -112.71, -31.41, 0.1, "open South Pacific"),
)

POLES_FROM_DEG = 89.9
"""Beyond this latitude there is ice, and what becomes of longitudes is what tests are about."""

PUBLISHED = {
    (11.5167, 48.1173): "NMEA 0183's sentences as descriptions of it print them (from memory)",
    (-122.2079, 37.3719): "the example of KML's reference of gx:Track (from memory)",
    (-122.2057, 37.3733): "the same",
    (-122.2047, 37.3739): "the same",
    (-122.2036, 37.3746): "the same",
    (1.7161, 52.658): "the worked example of Ordnance Survey's guide, in ETRS89 (from memory)",
    (1.7179, 52.6576): "the same, on its own datum",
    (5.3872, 52.1552): "the origin of the Dutch grid (RDNAPTRANS; from memory)",
    (9.0, 48.74): "the middle of a German grid's strip, where PROJ knows its datum",
}
"""Positions that are others' published facts, to 0.001 degrees, and where they are from."""
