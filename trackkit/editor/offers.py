"""What a page offers to do about a finding: the edit that its remedy is, and what a button says."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from trackkit.units import units


def offer(action: Mapping[str, Any] | None) -> dict[str, Any] | None:
    """Turn the action of a finding into an edit of gates.

    Parameters
    ----------
    action
        As `trackkit.remedies.Remedy.as_row` gives it.

    Returns
    -------
    dict or None
        ``label``, what a button says, and ``edit``, the request; None where the action changes no
        gate, or where only a person knows the place.
    """
    if action is None:
        return None
    do, gate, at_m = action["do"], action["feature"], action["chainage_m"]
    value = action["value"] or {}
    if do == "gate remove":
        return {"label": "remove it", "edit": {"do": "remove", "gate": gate}}
    if do == "gate place" and at_m is not None:
        kind = value["kind"]
        edit = {"do": "place", "kind": kind, "at_m": at_m}
        return {"label": f"place a {kind} gate at {units().length_text(at_m, 1)}", "edit": edit}
    if do != "gate move":
        return None
    if "left" in value:
        edit = {"do": "move", "gate": gate, "left": value["left"], "right": value["right"]}
        return {"label": "give it these ends", "edit": edit}
    if at_m is None:
        return None
    wide = f", {units().length_text(value['width_m'], 1)} wide" if "width_m" in value else ""
    edit = {"do": "move", "gate": gate, "to_m": at_m, **value}
    return {"label": f"put it at {units().length_text(at_m, 1)}{wide}", "edit": edit}
