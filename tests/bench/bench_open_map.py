"""Reading circuits out of a large extract: memory, and speed beside osmium doing nothing.

By hand: ``python tests/bench/bench_open_map.py FILE.osm.pbf [GIGABYTES]``.  FILE is made where it
is not there: invented nodes and roads strewn over open sea, with a circuit in each batch, and
its blocks repeated until it is large enough.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "shared"))

_BATCH = 20_000
_NODES_IN_A_WAY = 10
_MADE_BYTES = 12_000_000


def make(path: Path, gigabytes: float) -> None:
    """Write nodes first, then ways, by rising ids, until the file is large enough."""
    import osmium
    from map_extracts import ring
    from osmium.osm.mutable import Node, Way

    generator = np.random.default_rng(1)
    writer = osmium.SimpleWriter(str(path), overwrite=True)
    letters = np.frombuffer(b"abcdefghijklmnopqrstuvwxyz0123456789", dtype=np.uint8)
    batches = 0
    circuits: list[tuple[int, int]] = []
    while not path.exists() or path.stat().st_size < _MADE_BYTES:
        first = 1 + batches * _BATCH * 3
        place = generator.uniform([160.0, 45.0], [164.0, 49.0], (_BATCH, 2)).tolist()
        names = letters[generator.integers(0, 36, (_BATCH, 48))]
        for index in range(_BATCH):
            tags = {"note": names[index].tobytes().decode()} if index % 2 else {}
            writer.add_node(
                Node(
                    id=first + 3 * index, version=1, visible=True, location=place[index], tags=tags
                )
            )
        longitude, latitude = place[0]
        line = ring(1000.0)
        for index, (x, y) in enumerate(line):
            at = (longitude + x / 76_000.0, latitude + y / 111_200.0)
            writer.add_node(
                Node(id=first + 3 * _BATCH - 1000 + index, version=1, visible=True, location=at)
            )
        circuits.append((first, len(line)))
        batches += 1
    for number, (first, count) in enumerate(circuits):
        for index in range(_BATCH // _NODES_IN_A_WAY):
            begin = first + 3 * index * _NODES_IN_A_WAY
            nodes = list(range(begin, begin + 3 * _NODES_IN_A_WAY, 3))
            tags = {"highway": "residential", "name": f"Road {number} {index}"}
            ref = 1 + number * _BATCH + index
            writer.add_way(Way(id=ref, version=1, visible=True, nodes=nodes, tags=tags))
        begin = first + 3 * _BATCH - 1000
        nodes = [*range(begin, begin + count), begin]
        tags = {"highway": "raceway", "oneway": "yes", "name": f"Invented {number}"}
        ref = (number + 1) * _BATCH
        writer.add_way(Way(id=ref, version=1, visible=True, nodes=nodes, tags=tags))
    writer.close()
    _repeat_blocks(path, gigabytes)


def _repeat_blocks(path: Path, gigabytes: float) -> None:
    """Lengthen a PBF file with its own blocks: osmium's writer takes half an hour for 1 GB."""
    content = path.read_bytes()
    # A block is its header's length, that header, and the data of which it tells the length; the
    # first one is the file's own (OpenStreetMap wiki, "PBF Format"; from memory).
    head = int.from_bytes(content[:4], "big")
    data = 0
    for shift, byte in enumerate(content[4 : 4 + head].split(b"\x18", 1)[1][:4]):
        data |= (byte & 0x7F) << (7 * shift)
        if byte < 0x80:
            break
    blocks = content[4 + head + data :]
    with path.open("ab") as file:
        for _ in range(int(gigabytes * 1e9 / len(blocks)) - 1):
            file.write(blocks)


def nothing(path: str) -> None:
    """Have osmium read the whole file and do nothing."""
    import osmium
    import osmium.filter

    every = osmium.FileProcessor(path).with_filter(osmium.filter.KeyFilter("no such key"))
    assert not list(every)


def circuits(path: str) -> None:
    """Read what is tagged, and join it."""
    from trackkit.open_map.circuits import layouts_of
    from trackkit.open_map.extract import read_extract
    from trackkit.open_map.venues import venues_of

    begin = time.perf_counter()
    extract = read_extract(path)
    read = time.perf_counter()
    count = sum(len(layouts_of(venue, extract.places)[0]) for venue in venues_of(extract))
    print(f"  read in {read - begin:.1f} s, joined in {time.perf_counter() - read:.1f} s: {count}")


def main(path: Path, gigabytes: float) -> None:
    if not path.exists():
        begin = time.perf_counter()
        make(path, gigabytes)
        print(f"made in {time.perf_counter() - begin:.0f} s")
    print(f"{path.stat().st_size / 1e9:.2f} GB")
    for task in ("nothing", "circuits", "nothing", "circuits"):
        begin = time.perf_counter()
        subprocess.run([sys.executable, __file__, str(path), task], check=True)
        print(f"{task}: {time.perf_counter() - begin:.1f} s", flush=True)


if __name__ == "__main__":
    words = sys.argv[1:]
    if words[1:] in (["nothing"], ["circuits"]):
        (nothing if words[1] == "nothing" else circuits)(words[0])
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
        print(f"  at most {peak:,.0f} MiB")
    else:
        main(Path(words[0]), float(words[1]) if len(words) > 1 else 1.0)
