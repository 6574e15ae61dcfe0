"""The invented circuits of the Quillfeather Motor Club, which does not exist either.

Every name and every place is made up: the circuits are drawn where the map is empty (desert,
forest, open sea).  Countries are null, or XQ where the circuit stands on an invented island: ISO
3166-1 leaves XA to XZ to users and will never give them to a country.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from roadshape import CornerPoint

ISLAND = "XQ"


@dataclass(frozen=True)
class Circuit:
    """What a circuit is drawn from.

    Parameters
    ----------
    name, layout
        What it is called.
    longitude_deg, latitude_deg
        Where the plane of `points` has its origin.
    points
        See `roadshape.laid_out`.
    width_m
        Width of the band where cars run.
    setting
        Where it is said to be, and what for: the end of the notes.
    country, timezone
        Members of the track file.
    closed
        Whether it is a lap.
    heights
        Pairs of distance along the drawn line and height above the ellipsoid, metres.
    corner_names
        By corner number.
    finish_as
        Name and layout of the circuit (given before) whose finish gate this one shares.
    turned_round
        Whether it is the circuit of `finish_as` driven the other way, on the same tarmac.
    """

    name: str
    longitude_deg: float
    latitude_deg: float
    points: tuple[CornerPoint, ...]
    width_m: float
    setting: str
    timezone: str
    layout: str = ""
    country: str | None = None
    closed: bool = True
    heights: tuple[tuple[float, float], ...] = ()
    corner_names: Mapping[int, str] = field(default_factory=dict)
    finish_as: tuple[str, str] | None = None
    turned_round: bool = False


def _through(*rows: tuple[float, float, float]) -> tuple[CornerPoint, ...]:
    return tuple(CornerPoint(*row) for row in rows)


PIPWICK = Circuit(
    name="Pipwick Kart Circuit",
    longitude_deg=83.3512,
    latitude_deg=38.7214,
    points=_through(
        (140, 0, 26),
        (164, -50, 28),
        (252, -74, 10),
        (100, -94, 17),
        (92, -134, 14),
        (-92, -138, 9),
        (32, -90, 13),
        (26, -44, 11),
        (-58, -40, 22),
        (-88, -62, 14),
        (-118, 0, 18),
    ),
    width_m=8.0,
    setting="It is drawn in a sand desert, for karts, with three sectors.",
    corner_names={3: "Kettle", 6: "Ladlewick", 10: "Homeward"},
    timezone="Etc/GMT-6",
)

MORROWFEN = Circuit(
    name="Morrowfen",
    longitude_deg=-38.4731,
    latitude_deg=41.6187,
    points=_through(
        (580, 0, 60),
        (625, -170, 90),
        (900, -250, 34),
        (690, -400, 150),
        (440, -440, 60),
        (400, -640, 52),
        (160, -650, 70),
        (150, -330, 80),
        (-40, -250, 62),
        (-130, -460, 85),
        (-400, -480, 100),
        (-380, -200, 18),
        (-520, -185, 36),
        (-560, 0, 55),
    ),
    width_m=12.0,
    setting="It is drawn on an island that is not there, in the open Atlantic.",
    corner_names={3: "Lantern", 9: "Heron Rise", 12: "Needle", 14: "Last Light"},
    timezone="Etc/GMT+3",
    country=ISLAND,
    heights=(
        (0, 31),
        (450, 27.5),
        (700, 22),
        (1020, 17),
        (1450, 24),
        (1850, 38),
        (2250, 51),
        (2700, 44),
        (3050, 37),
        (3350, 33.5),
        (3700, 32),
    ),
)

_RUDDLEBECK_HOME = ((-430, 340, 70), (-420, 130, 150), (-320, 0, 80))
RUDDLEBECK_FULL = Circuit(
    name="Ruddlebeck",
    layout="Full",
    longitude_deg=-87.9318,
    latitude_deg=-5.8743,
    points=_through(
        (420, 0, 35),
        (440, 160, 28),
        (640, 200, 70),
        (690, 440, 120),
        (420, 520, 110),
        (280, 350, 32),
        (170, 420, 40),
        (120, 640, 95),
        (-190, 620, 90),
        (-190, 430, 50),
        *_RUDDLEBECK_HOME,
    ),
    width_m=11.0,
    setting="It is drawn on an island that is not there, in the open Pacific; its Short layout "
    "shares the southern half.",
    corner_names={1: "Ferry", 6: "Mill Dip", 9: "Highwater", 11: "Tumbleshaw"},
    timezone="Etc/GMT+5",
    country=ISLAND,
)
RUDDLEBECK_SHORT = Circuit(
    name="Ruddlebeck",
    layout="Short",
    longitude_deg=RUDDLEBECK_FULL.longitude_deg,
    latitude_deg=RUDDLEBECK_FULL.latitude_deg,
    # It leaves the Full layout on the straight from (420, 0) to (440, 160), and joins it again on
    # the one from (-190, 430) to (-430, 340).
    points=_through(
        (420, 0, 35),
        (433.125, 105, 26),
        (150, 130, 60),
        (60, 300, 50),
        (-260, 403.75, 80),
        *_RUDDLEBECK_HOME,
    ),
    width_m=11.0,
    setting="It is drawn on an island that is not there, in the open Pacific; its Full layout "
    "shares the southern half.",
    corner_names={1: "Ferry", 2: "Cut Through", 6: "Tumbleshaw"},
    timezone="Etc/GMT+5",
    country=ISLAND,
    finish_as=("Ruddlebeck", "Full"),
)

SALTPENNY_ANTICLOCKWISE = Circuit(
    name="Saltpenny Atoll",
    layout="Anticlockwise",
    longitude_deg=180.0,
    latitude_deg=-25.3127,
    points=_through(
        (300, 0, 110),
        (480, 120, 150),
        (560, 330, 100),
        (420, 470, 30),
        (470, 600, 60),
        (300, 700, 120),
        (60, 640, 60),
        (-20, 760, 50),
        (-240, 690, 130),
        (-330, 480, 150),
        (-220, 330, 24),
        (-400, 220, 50),
        (-380, 60, 90),
        (-200, -20, 150),
    ),
    width_m=10.0,
    setting="It is drawn round the lagoon of an atoll that is not there, in the open Pacific "
    "astride the antimeridian, and driven both ways.",
    corner_names={4: "Anchor", 11: "Coral Notch"},
    timezone="Etc/GMT-12",
    country=ISLAND,
)
SALTPENNY_CLOCKWISE = Circuit(
    name="Saltpenny Atoll",
    layout="Clockwise",
    longitude_deg=SALTPENNY_ANTICLOCKWISE.longitude_deg,
    latitude_deg=SALTPENNY_ANTICLOCKWISE.latitude_deg,
    points=SALTPENNY_ANTICLOCKWISE.points,
    width_m=SALTPENNY_ANTICLOCKWISE.width_m,
    setting=SALTPENNY_ANTICLOCKWISE.setting,
    corner_names={4: "Coral Notch", 11: "Anchor"},
    timezone=SALTPENNY_ANTICLOCKWISE.timezone,
    country=ISLAND,
    finish_as=("Saltpenny Atoll", "Anticlockwise"),
    turned_round=True,
)

TWISTLEMOOR = Circuit(
    name="Twistlemoor",
    longitude_deg=137.4186,
    latitude_deg=-25.2391,
    points=_through(
        (330, 240, 100),
        (560, 270, 75),
        (640, 60, 75),
        (480, -80, 45),
        (380, -30, 30),
        (300, -180, 50),
        (170, -200, 70),
        (-120, 240, 130),
        (-330, 300, 70),
        (-480, 180, 140),
        (-470, -60, 32),
        (-350, -20, 40),
        (-260, -150, 60),
        (-110, -130, 90),
    ),
    width_m=12.0,
    setting="It is drawn among desert dunes: a figure of eight whose loops cross at a bridge.",
    corner_names={4: "Dune Foot", 11: "Well"},
    timezone="Etc/GMT-9",
    # 6 m apart, and level, for 40 m before and after the bridge.
    heights=(
        (300, 60),
        (800, 62),
        (1200, 63),
        (1492, 66),
        (1572, 66),
        (1900, 64),
        (2350, 61),
        (2750, 60.5),
        (2997, 60),
        (3077, 60),
    ),
)

ORRINBACK = Circuit(
    name="Orrinback Hill",
    longitude_deg=-27.4623,
    latitude_deg=61.8305,
    points=_through(
        (0, 0, 0),
        (170, 10, 90),
        (270, 140, 50),
        (520, 150, 11),
        (220, 310, 14),
        (420, 400, 80),
        (560, 520, 110),
        (760, 530, 80),
        (880, 680, 40),
        (720, 790, 13),
        (980, 850, 10),
        (790, 930, 34),
        (830, 1080, 60),
        (1060, 1130, 70),
        (1120, 1300, 0),
    ),
    width_m=7.0,
    setting="It is drawn on an island that is not there, in the open Atlantic: a hill climbed from "
    "one end to the other.",
    corner_names={3: "First Step", 4: "Second Step", 8: "Third Step", 9: "Top Step"},
    timezone="Etc/GMT+2",
    country=ISLAND,
    closed=False,
    heights=(
        (0, 212),
        (350, 222),
        (800, 258),
        (1300, 293),
        (1700, 330),
        (2100, 371),
        (2450, 396),
        (2740, 404),
    ),
)

GULLHATCH = Circuit(
    name="Gullhatch Oval",
    longitude_deg=-112.7064,
    latitude_deg=-31.4148,
    points=_through(
        (340, -30, 105),
        (360, 262, 105),
        (-380, 278, 114),
        (-400, -50, 114),
        (-40, -60, 240),
    ),
    width_m=14.0,
    setting="It is drawn on an island that is not there, in the open Pacific.",
    corner_names={1: "Windward", 3: "Leeward"},
    timezone="Etc/GMT+8",
    country=ISLAND,
)

CIRCUITS = (
    PIPWICK,
    MORROWFEN,
    RUDDLEBECK_FULL,
    RUDDLEBECK_SHORT,
    SALTPENNY_ANTICLOCKWISE,
    SALTPENNY_CLOCKWISE,
    TWISTLEMOOR,
    ORRINBACK,
    GULLHATCH,
)
