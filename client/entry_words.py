"""Entries of the log in the words of the shop: what they are, what they say, and where they are."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

NAMES: Final[dict[str, str]] = {
    "cuts.made": "cut",
    "parts.taken": "taken as parts",
    "stock.taken": "taken from the rack",
    "scrap.made": "scrapped",
    "offcut.stored": "offcut put on the rack",
    "gauge.measured": "gauge measured",
    "blade.turned": "blade worked on",
    "edge.measured": "edge measured",
    "program.saved": "program saved",
    "log.withdrawn": "withdrawal",
}
"""What an entry of a type tells of."""

STANDINGS: Final[dict[str, str]] = {
    "pending": "to be sent",
    "taken": "counted",
    "kept": "kept for later",
    "quarantined": "in quarantine",
    "aside": "put aside here",
}
"""Where an entry is: here alone, or at the centre, and whether it counts there."""


def name_of(event_type: str) -> str:
    """What an entry of a type tells of; the type itself where this version does not know it."""
    return NAMES.get(event_type, event_type)


def words_of(event_type: str, payload: Mapping[str, Any]) -> str:
    """What an entry says, in a few words, and what the operator gave besides.

    >>> words_of("stock.taken", {"ref": "SH-A", "quantity": 3, "machine": "bench-3m"})
    '3 of SH-A; on bench-3m'
    >>> words_of("stock.taken", {"ref": "SH-A", "quantity": 3, "machine": "bench-3m", "operator": "KL"})
    '3 of SH-A; on bench-3m; by KL'
    >>> part = {"ref": "P-1", "quantity": 2}
    >>> words_of("cuts.made", {"strokes": 1, "parts": [part, part], "plan_id": "2731", "step": 9})
    '1 stroke: 4 of P-1; plan 2731 step 9'
    """
    said = [_SAID[event_type](payload)] if event_type in _SAID else []
    where = []
    if payload.get("plan_id") is not None:
        step = next((f" {name} {payload[name]}" for name in ("step", "layout") if payload.get(name)), "")
        where.append(f"plan {payload['plan_id']}{step}")
    if payload.get("machine") is not None:
        where.append(f"on {payload['machine']}")
    if where:
        said.append(" ".join(where))
    return "; ".join([*said, *_besides(event_type, payload)])


def _besides(event_type: str, payload: Mapping[str, Any]) -> list[str]:
    """What a person gave besides, so that a slip of the keys in it can be found."""
    told = []
    if event_type == "cuts.made" and payload.get("blade_edge") is not None:
        told.append(f"edge {payload['blade_edge']}")
    if payload.get("minutes") is not None:
        told.append(f"{payload['minutes']:g} min")
    if payload.get("operator") is not None:
        told.append(f"by {payload['operator']}")
    if payload.get("remark") is not None:
        told.append(f'"{payload["remark"]}"')
    return told


def _edge(payload: Mapping[str, Any]) -> str:
    edge = f"edge {payload['edge']}: " if payload.get("edge") is not None else ""
    if payload.get("radius_um") is not None:
        return f"{edge}radius {payload['radius_um']:g} µm"
    return f"{edge}burr {payload['burr_mm']:g} mm" if payload.get("burr_mm") is not None else edge


def _parts(payload: Mapping[str, Any]) -> str:
    parts = _made(payload["parts"])
    strokes = payload["strokes"]
    return f"{strokes} {'stroke' if strokes == 1 else 'strokes'}" + (f": {parts}" if parts else "")


def _whole(payload: Mapping[str, Any]) -> str:
    parts = _made(payload["parts"])
    return f"{payload['sheets']} as they are" + (f": {parts}" if parts else "")


def _made(parts: Sequence[Mapping[str, Any]]) -> str:
    """Parts by their ref, also where some of one ref fell and others stayed."""
    made: Counter[str] = Counter()
    for part in parts:
        made[part["ref"]] += part["quantity"]
    return ", ".join(f"{quantity} of {ref}" for ref, quantity in made.items())


def _size(payload: Mapping[str, Any]) -> str:
    return (
        f"{payload['quantity']} of {payload['length_mm']:g} × {payload['width_mm']:g}"
        f" × {payload['thickness_mm']:g}"
    )


_SAID: Final[dict[str, Callable[[Mapping[str, Any]], str]]] = {
    "cuts.made": _parts,
    "parts.taken": _whole,
    "stock.taken": lambda payload: f"{payload['quantity']} of {payload['ref']}",
    "scrap.made": lambda payload: f"{_size(payload)}: {payload['reason']}",
    "offcut.stored": lambda payload: f"{payload['ref']}: {_size(payload)}",
    "gauge.measured": lambda payload: f"{payload['measured_mm']:g} at {payload['gauge_mm']:g}",
    "blade.turned": lambda payload: f"edge {payload['edge']}: {payload['work']}",
    "edge.measured": _edge,
    "program.saved": lambda payload: str(payload["name"]),
    "log.withdrawn": lambda payload: str(payload["reason"]),
}
