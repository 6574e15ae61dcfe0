"""Every sample through every program and back onto itself, to the last letter.

Prints a line for each pair that does not come back to the last letter, and how many do.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "shared"))

from nasty_track import nasty_track
from round_trips import ROUND_TRIPS, as_file
from sample_circuits import IDS, track_of

from trackkit.importing.import_track import import_track


def main() -> None:
    tracks = [nasty_track(), *map(track_of, IDS)]
    back = 0
    for track in tracks:
        for name, way in ROUND_TRIPS.items():
            with tempfile.TemporaryDirectory() as folder:
                imported = import_track(way(track, Path(folder)), onto=track)
            same = as_file(imported.track) == as_file(track)
            back += same
            if not same:
                print(f"{track.id}, {name}: {'; '.join(imported.moved.lines())}")
    print(f"{back} of {len(tracks) * len(ROUND_TRIPS)} came back to the last letter")


if __name__ == "__main__":
    main()
