"""How fast the page answers: ready, opened, panned, dragged; 20 laps at 25 Hz (invented).

    python tests/bench/bench_page.py [REPEATS]
    python tests/bench/bench_page.py laps [REPEATS]

The second is about 200 laps of ten recordings by three drivers, of which 80 are drawn: how long the
page takes to open, and what moves of the pointer over chart and map take until their handlers and
the frame after them are done.  The load of the computer is printed too.

Times are of Debian's Chromium on this computer, without a graphics card.
"""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "shared"))
from browsing import Visit, chromium
from editor_page import Editor

from trackkit.pages.html import write_map
from trackkit.simulation.simulate import simulate_drive, write_simulation
from trackkit.track.file import read_track

TRACKS = Path(__file__).parent.parent.parent / "tracks"
WATCH = """() => {
    window.waits = [];
    let moved = null;
    document.addEventListener("pointermove", event => { moved = event.timeStamp; }, true);
    new MutationObserver(() => {
        if (moved === null) { return; }
        const since = moved;
        moved = null;
        // Painted is when the frame after the change begins its own work.
        requestAnimationFrame(() => setTimeout(() => window.waits.push(performance.now() - since)));
    }).observe(document.querySelector("#lap-table tbody"), {childList: true});
}"""
FRAMES = """() => {
    window.frames_at = [];
    const step = now => { window.frames_at.push(now); requestAnimationFrame(step); };
    requestAnimationFrame(step);
}"""
REDRAW = """() => { const begun = performance.now();
    for (let n = 0; n < 10; n++) { trackkit.page.map.ground.redraw(); }
    return (performance.now() - begun) / 10; }"""


MOVES = 200
MOVED = """async ({ selector, moves }) => {
    const node = document.querySelector(selector);
    const box = node.getBoundingClientRect();
    const waits = [];
    for (let n = 0; n < moves; n++) {
        const share = (n + 0.5) / moves;
        const clientX = box.left + box.width * (0.1 + 0.8 * share);
        const clientY = box.top + box.height * (0.5 + 0.3 * Math.sin(40 * share));
        const at = { clientX, clientY, bubbles: true, pointerId: 1, pointerType: "mouse" };
        const within = document.elementFromPoint(clientX, clientY) ?? node;
        await new Promise(resolve => requestAnimationFrame(resolve));
        const begun = performance.now();
        for (const [kind, name] of [[PointerEvent, "pointermove"], [MouseEvent, "mousemove"]]) {
            within.dispatchEvent(new kind(name, at));
        }
        const handled = performance.now() - begun;
        // Work of the frame itself: from its beginning to when it is laid out and painted.
        waits.push(await new Promise(resolve => requestAnimationFrame(() => {
            const frame = performance.now();
            setTimeout(() => resolve([handled, performance.now() - frame]));
        })));
    }
    return waits;
}"""
DRAWN = """count => {
    const { session } = trackkit.page;
    session.chosen = session.timedLaps().slice(0, count).map(lap => lap.key);
    const begun = performance.now();
    session.tell("laps");
    return performance.now() - begun;
}"""
OPENED = """() => {
    const [page] = performance.getEntriesByType("navigation");
    const paint = performance.getEntriesByName("first-contentful-paint")[0];
    return [page.loadEventEnd, paint ? paint.startTime : NaN];
}"""
RECORDINGS, LAPS, DRAWN_LAPS = 10, 20, 80


def many_laps(repeats: int) -> None:
    """Print how fast a page of a day answers."""
    track = read_track(TRACKS / "ruddlebeck-full.geojson")
    drives = [
        simulate_drive(track, laps=LAPS, rate_hz=10.0, seed=seed) for seed in range(RECORDINGS)
    ]
    drivers = [f"Driver {'ABC'[seed % 3]}" for seed in range(RECORDINGS)]
    with tempfile.TemporaryDirectory() as name, chromium() as browser:
        page = Path(name) / "map.html"
        write_map(
            track,
            page,
            recordings=[drive.recording for drive in drives],
            names=[f"drive-{seed}.csv" for seed in range(RECORDINGS)],
            drivers=drivers,
            findings=[],
        )
        print(f"page of {RECORDINGS * LAPS} laps: {page.stat().st_size / 1e6:.2f} MB")
        opened, painted, drawn = [], [], []
        moves: dict[str, list[list[float]]] = {"#chart": [], "#map": []}
        for _ in range(repeats):
            visit = Visit(browser, page.as_uri())
            visit.page.set_viewport_size({"width": 1400, "height": 900})
            load, paint = visit.page.evaluate(OPENED)
            opened.append(load)
            painted.append(paint)
            drawn.append(visit.page.evaluate(DRAWN, DRAWN_LAPS))
            visit.page.wait_for_timeout(500)
            for selector, waits in moves.items():
                waits += visit.page.evaluate(MOVED, {"selector": selector, "moves": MOVES})
            visit.page.close()
        print(f"loaded: {np.median(opened):.0f} ms, first painted: {np.median(painted):.0f} ms")
        print(f"{DRAWN_LAPS} laps drawn: {np.median(drawn):.0f} ms")
        for selector, waits in moves.items():
            handled, frame = np.array(waits).T
            both = np.percentile(handled + frame, [50, 95])
            print(
                f"pointer over {selector}: {both[0]:.1f} ms (median), {both[1]:.1f} ms (95 %), "
                f"of which handlers {np.percentile(handled, 95):.1f} ms, {len(waits)} moves"
            )
    print(f"load of this computer: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")


def main() -> None:
    """Print medians over some repeats."""
    if sys.argv[1:2] == ["laps"]:
        many_laps(int(sys.argv[2]) if len(sys.argv) > 2 else 3)
        return
    repeats = int(sys.argv[1]) if len(sys.argv) > 1 else 3
    with tempfile.TemporaryDirectory() as name, chromium() as browser:
        folder = Path(name)
        path, recording = folder / "track.geojson", folder / "drive.csv"
        shutil.copy(TRACKS / "ruddlebeck-full.geojson", path)
        drive = simulate_drive(read_track(path), laps=20, rate_hz=25.0, seed=0)
        write_simulation(drive, recording)
        page = folder / "map.html"
        write_map(read_track(path), page, recordings=[drive.recording], findings=[])
        print(f"map of {len(drive.recording):,} fixes: {page.stat().st_size / 1e6:.2f} MB")
        opened, frames, redrawn = [], [], []
        for _ in range(repeats):
            visit = Visit(browser, page.as_uri())
            opened.append(visit.page.evaluate("performance.now()"))
            redrawn.append(visit.page.evaluate(REDRAW))
            frames.append(panned(visit))
            visit.page.close()
        print(f"map opened: {np.median(opened):.0f} ms")
        print(f"panning with the whole map in view: {np.median(frames):.0f} frames/s")
        print(f"drawn again when it stands still: {np.median(redrawn):.0f} ms")
        editor = Editor(browser, path, [recording])
        ready = []
        for _ in range(repeats):
            editor.open()
            ready.append(editor.page.evaluate("performance.now()"))
        print(f"editor ready: {np.median(ready):.0f} ms")
        for gate, chainage in (
            ("Sector 1 end", editor.gate("Sector 1 end")["chainage_m"]),
            ("Finish", 0.0),
        ):
            print(f"{gate} dragged: {dragged(editor, chainage)}")
        editor.close()


def panned(visit: Visit) -> float:
    """Pan the map by hand for two seconds, and say how many frames a second were shown."""
    (frame,) = visit.boxes("#map")
    x, y = 0.5 * (frame[0] + frame[2]), 0.5 * (frame[1] + frame[3])
    mouse = visit.page.mouse
    mouse.move(x, y)
    mouse.down()
    visit.page.evaluate(FRAMES)
    until = time.monotonic() + 2.0
    step = 0
    while time.monotonic() < until:
        step += 1
        mouse.move(x + 150 * np.sin(step / 12), y + 80 * np.sin(step / 9))
    times = np.array(visit.page.evaluate("window.frames_at"))
    mouse.up()
    return float(1000.0 / np.diff(times).mean())


def dragged(editor: Editor, chainage_m: float) -> str:
    """Drag a gate to and fro, and say how long the table took to follow."""
    editor.page.evaluate(WATCH)
    mouse = editor.page.mouse
    mouse.move(*editor.on_map(chainage_m))
    mouse.down()
    for step in range(120):
        mouse.move(*editor.on_map(chainage_m + 60 + 50 * np.sin(step / 8)))
        editor.page.wait_for_timeout(30)
    mouse.up()
    editor.state()
    waits = np.array(editor.page.evaluate("window.waits")[:-1])
    low, high = np.percentile(waits, [50, 95])
    return f"table painted after {low:.0f} ms (median), {high:.0f} ms (95 %), {len(waits)} times"


if __name__ == "__main__":
    main()
