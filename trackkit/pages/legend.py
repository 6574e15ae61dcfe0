"""The words and keys beside a page's map."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from typing import Any

from trackkit.pages.nearby import NEAR_M
from trackkit.pages.packing import unpacked_bounds
from trackkit.units import as_read, units


def page_words(
    base: Mapping[str, Any], state: Mapping[str, Any], title: str | None
) -> dict[str, Any]:
    """Everything the page says that never changes; the template escapes it."""
    track = base["track"]
    recordings = base["recordings"]
    drawn = any(recording["fixes"] is not None for recording in recordings)
    kinds = {gate["kind"] for gate in state["gates"]}
    return {
        "title": title or track["name"],
        "subtitle": ", ".join(t for t in (title and track["name"], track["layout"]) if t),
        "facts": _facts(base),
        "datum": "finish gate" if track["closed"] else "start of the course",
        "quality": None if base["quality"] is None else as_read(base["quality"]["basis"]),
        "legend": _legend(base, kinds, pit_lane=bool(state["pit_lanes"])),
        "speeds": _speed_legend(base) if drawn else [],
        "drawn": drawn,
        "recordings": [
            {
                "name": recording["file"],
                "text": _recording_text(recording),
                "drawn": recording["fixes"] is not None,
            }
            for recording in recordings
        ],
        "drivers": len({recording["driver"] for recording in recordings}),
        "fact_length": base["limits"]["fact_length"],
        "corners": len(base["corners"]),
        "straights": len(base["straights"]),
        "caution": base["caution"],
        "credits": track["credits"],
        "about": _about(track),
    }


def nearby_words() -> str:
    """Say what a page leaves out of recordings."""
    return (
        f"This page holds only what was driven within {units().length_text(NEAR_M)} of the "
        "circuit; what was driven elsewhere, such as the way there and home, is not in the file."
    )


def _facts(base: Mapping[str, Any]) -> str:
    track = base["track"]
    facts = [
        units().length_text(track["length_m"]),
        "closed circuit" if track["closed"] else "point to point",
    ]
    if track["direction"]:
        facts.append(track["direction"])
    elif base["bridges"]:
        facts.append("crosses over itself")
    if base["corners"]:
        facts.append(f"{len(base['corners'])} corner{'s' if len(base['corners']) > 1 else ''}")
    return ", ".join(facts)


def _legend(base: Mapping[str, Any], kinds: set[str], *, pit_lane: bool) -> list[dict[str, str]]:
    track = base["track"]
    way = f" ({track['direction']})" if track["direction"] else ""
    band = '<rect class="t-band" x="1" y="2" width="42" height="16"/>'
    line = '<path class="t-line" d="M1 10h42" stroke-width="1.6" stroke-dasharray="7 6"/>'
    arrow = (
        '<g class="arrow"><path class="under" d="M18 4 26 10 18 16"/>'
        '<path class="over" d="M18 4 26 10 18 16"/></g>'
    )
    legend = [
        {"picture": band, "text": _band_text(base)},
        {"picture": band + line + arrow, "text": f"Centreline; arrows show racing direction{way}"},
        *_accuracy_legend(base, band),
    ]
    for row in base["gate_kinds"]:
        # Gates placed later on the page are of kinds that its menu names.
        kind, name = row["kind"], row["name"]
        if kind in kinds:
            bar = (
                f'{band}<path class="t-halo" d="M22 0v20" stroke-width="8"/>'
                f'<path class="t-{kind}" d="M22 0v20" stroke-width="4.5"/>'
            )
            legend.append({"picture": bar, "text": f"{name.capitalize()} gate"})
    if base["corners"]:
        disc = (
            '<rect class="t-chip" x="12" y="1" width="20" height="18" rx="9"/>'
            '<text class="t-ink" x="22" y="14.5" text-anchor="middle">3</text>'
        )
        counted = "finish gate in racing direction" if track["closed"] else "start"
        legend.append({"picture": disc, "text": f"Corner, numbered from the {counted}"})
    if pit_lane:
        lane = '<path class="t-pit" d="M1 10h42" stroke-width="3" stroke-dasharray="6 5"/>'
        legend.append({"picture": lane, "text": "Pit lane"})
    if base["bridges"]:
        edges = (
            '<path class="t-bridge-under" d="M1 3h42M1 17h42" stroke-width="5.5"/>'
            '<path class="t-bridge" d="M1 3h42M1 17h42" stroke-width="2.5"/>'
        )
        legend.append({"picture": band + edges, "text": "Bridge: this piece of track is on top"})
    return legend


_KIND_TEXTS = {
    "thin": "Thin: fixes are far apart here (sparse logging)",
    "carried": "Carried: no fixes here, the line bridges the gap",
    "drawn": "Drawn, not recorded",
}
_KIND_DASHES = {"thin": "9 4", "carried": "2 4", "drawn": "14 3"}


def _accuracy_legend(base: Mapping[str, Any], band: str) -> list[dict[str, str]]:
    accuracy = base["line"]["accuracy"]
    if accuracy is None:
        return []
    low, high = unpacked_bounds(accuracy["sigma_m"])
    ribbon = '<rect class="t-doubt" x="1" y="5" width="42" height="10"/>'
    reach = _from_to(2 * low, 2 * high) if high - low > 0.05 else units().length_text(2 * high, 1)
    text = f"Where the line may be: two sigma either side, {reach}"
    legend = [{"picture": band + ribbon, "text": text}]
    for kind, words in _KIND_TEXTS.items():
        stretches = [row for row in accuracy["stretches"] if row["kind"] == kind]
        if stretches:
            metres = sum(row["to_m"] - row["from_m"] for row in stretches)
            most = max(row["sigma_m"] for row in stretches)
            dash = (
                f'<path class="t-{kind}" d="M1 10h42" stroke-width="3" '
                f'stroke-dasharray="{_KIND_DASHES[kind]}"/>'
            )
            length, sigma = units().length_text(metres), units().length_text(most, 1)
            text = f"{words}; {length}, sigma up to {sigma}"
            legend.append({"picture": band + dash, "text": text})
    return legend


def _band_text(base: Mapping[str, Any]) -> str:
    low, high = base["line"]["band_m"]
    if not base["track"]["band_known"]:
        wide = units().length_text(low)
        return f"Band where cars run, {wide} wide (assumed: the track file gives no width)"
    wide = _from_to(low, high) if high - low > 0.05 else units().length_text(low, 1)
    accuracy = base["line"]["accuracy"]
    drawn = accuracy is None or any(row["kind"] == "drawn" for row in accuracy["stretches"])
    if drawn or base["track"]["line"] != "centre":
        return f"Band where cars run, {wide} wide, as the track file states"
    # The width between two edges is the difference of two lines, the centre their mean.
    sigma = units().length_text(2.0 * unpacked_bounds(accuracy["sigma_m"])[1], 1)
    return f"Band where cars run, {wide} wide between recorded edges, ±{sigma} (one sigma)"


def _from_to(low_m: float, high_m: float) -> str:
    return f"{units().length_figure(low_m, 1)} to {units().length_text(high_m, 1)}"


def _speed_legend(base: Mapping[str, Any]) -> list[dict[str, str]]:
    bounds, unit = base["speed_bounds"], units().speed
    band = '<rect class="t-band" x="1" y="1" width="42" height="18"/>'
    between = [f"{a} to {b} {unit}" for a, b in pairwise(bounds)]
    labels = [f"under {bounds[0]} {unit}", *between, f"{bounds[-1]} {unit} and over"]
    return [
        {
            "picture": (
                f'{band}<path d="M1 10h42" stroke="{style["colour"]}" '
                f'stroke-width="{style["width_px"]}"/>'
            ),
            "text": label,
        }
        for style, label in zip(base["speed_styles"], labels, strict=True)
    ]


def _recording_text(row: Mapping[str, Any]) -> str:
    if row["away_m"] is None:
        return f"never came within {units().length_text(NEAR_M)} of this track: left out"
    minutes, seconds = divmod(round(row["duration_s"]), 60)
    fixes = "1 fix" if row["fix_count"] == 1 else f"{row['fix_count']:,} fixes"
    top = units().speed_text(row["top_mps"])
    text = f"{fixes} in {minutes} min {seconds:02d} s, top speed {top}"
    if row["every"] is None:
        text += f"; lies {_far(row['away_m'])} from this track, so it is not drawn"
    elif row["every"] > 1:
        text += f"; drawn from one fix in {row['every']}"
    return text


def _about(track: Mapping[str, Any]) -> list[tuple[str, str]]:
    rows = [
        ("Track file id", track["id"]),
        ("Country", track["country"] or ""),
        ("Revised", track["revised"]),
        ("Length at its height and along its slope", _metres(track["length_surface_m"])),
        (
            "The centreline is",
            "the line driven" if track["line"] == "driven" else "the middle of the tarmac",
        ),
        ("Accuracy of the line", _metres(track["accuracy_m"])),
        ("Licence of the track file", track["licence"] or ""),
        ("Notes", track["notes"]),
    ]
    return [(term, text) for term, text in rows if text]


def _metres(value: float | None) -> str:
    return "" if value is None else units().length_text(value, 1)


def _far(away_m: float) -> str:
    shown = units()
    return f"{away_m * shown.long_per_m:,.1f} {shown.long_length}"
