"""The smallest recordings there are, in several formats."""

from __future__ import annotations

CSV = b"time,lat,lon\n0,48,161\n0.1,48,161\n"
GPX = (
    b'<gpx version="1.1"><trk><trkseg>'
    b'<trkpt lat="48" lon="161"><time>2024-05-01T10:00:00Z</time>'
    b'</trkpt><trkpt lat="48" lon="161"><time>2024-05-01T10:00:01Z</time></trkpt>'
    b"</trkseg></trk></gpx>"
)
GEOJSON = (
    b'{"type": "Feature", "geometry": {"type": "LineString",'
    b' "coordinates": [[161, 48], [161, 48.1]]},'
    b' "properties": {"coordTimes": ["2024-05-01T10:00:00Z", "2024-05-01T10:10:00Z"]}}'
)
