"""What is hardly meant so: figures of an entry that are far from anything that happens at a shear.

The limits are shop defaults, far beyond what is usual; `--sure` writes the entry down all the same.
The service refuses nothing for them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any, Final

from service.engine.force import check_force
from service.engine.materials_table import UnknownMaterial, material_named
from service.engine.quantities import mm, show_mm

if TYPE_CHECKING:
    from client.workstation import Workstation

MOST_MINUTES: Final = 720
"""A long shift."""

MOST_STROKES: Final = 10_000
"""In one entry: more than a shift of strokes at one in three seconds."""

MOST_KG: Final = 25_000
"""A lorry load."""

MOST_RADIUS_UM: Final = 1000
"""An edge worn by a millimetre cuts nothing any more."""

LEAST_RADIUS_UM: Final = 1
"""No edge of a shear blade is ground sharper."""

MOST_OFF_MM: Final = 3.0
MOST_OFF_SHARE: Final = 0.01
"""A drop further off than this, and than that share of the gauge value, was misread or mistyped."""


def doubts(station: Workstation, event_type: str, payload: Mapping[str, Any]) -> Iterator[str]:
    """What to ask the operator about, before the entry is written."""
    minutes = payload.get("minutes") or 0
    if minutes > MOST_MINUTES:
        yield f"{minutes:g} minutes are {minutes / 60:,.0f} hours"
    if payload.get("strokes", 0) > MOST_STROKES:
        yield f"{payload['strokes']} strokes are more than a shift's work"
    if payload.get("mass_kg", 0) > MOST_KG:
        yield f"{payload['quantity']} pieces weigh {payload['mass_kg'] / 1000:.1f} t together"
    yield from _OF_TYPE[event_type](station, payload) if event_type in _OF_TYPE else ()


def _taken(station: Workstation, payload: Mapping[str, Any]) -> Iterator[str]:
    taken, ref = payload["quantity"], payload["ref"]
    there = next((item.quantity for item in station.rack() if item.ref == ref), None)
    if there is not None and taken > there + 10 and taken > 2 * there:
        yield f"the records show {there} of {ref}, and {taken} {'is' if taken == 1 else 'are'} taken"


def _gauge(station: Workstation, payload: Mapping[str, Any]) -> Iterator[str]:
    gauge, measured = payload["gauge_mm"], payload["measured_mm"]
    if abs(measured - gauge) > max(MOST_OFF_MM, gauge * MOST_OFF_SHARE):
        yield f"a drop of {measured:g} mm from a gauge value of {gauge:g} mm"
    machine = station.records.machine(payload["machine"])
    if machine is not None and not machine.back_gauge.low <= mm(gauge) <= machine.back_gauge.high:
        low, high = show_mm(machine.back_gauge.low), show_mm(machine.back_gauge.high)
        yield f"the back gauge of {machine.name} goes from {low} to {high} mm, not to {gauge:g}"


def _cuts(station: Workstation, payload: Mapping[str, Any]) -> Iterator[str]:
    machine = station.records.machine(payload["machine"])
    if machine is None or payload.get("plan_id") is not None:
        return  # a plan holds to the limits of the machine that it was made for
    try:
        material = material_named(payload["material"], station.records.materials())
    except UnknownMaterial:
        return
    force = check_force(machine, material, mm(payload["thickness_mm"]), mm(payload["cut_length_mm"]))
    yield from (f"{machine.name}: {one.message}" for one in force.findings if one.level == "stop")


def _edge(station: Workstation, payload: Mapping[str, Any]) -> Iterator[str]:
    radius, burr, thickness = (payload.get(name) for name in ("radius_um", "burr_mm", "thickness_mm"))
    if radius is not None and radius < LEAST_RADIUS_UM:
        yield (
            f"an edge radius of {radius:g} µm is sharper than a ground edge; "
            f"{radius * 1000:g} µm ({radius:g} mm) may be meant"
        )
    if radius is not None and radius > MOST_RADIUS_UM:
        yield f"an edge radius of {radius:g} µm is {radius / 1000:g} mm"
    if burr is not None and thickness is not None and burr > thickness:
        yield f"a burr of {burr:g} mm is higher than the sheet is thick ({thickness:g} mm)"


def _offcut(station: Workstation, payload: Mapping[str, Any]) -> Iterator[str]:
    of = next((item for item in station.rack() if item.ref == payload.get("from_stock")), None)
    if of is None or payload.get("plan_id") is not None:
        return
    small, large = sorted((mm(payload["length_mm"]), mm(payload["width_mm"])))
    least, most = sorted((of.length + of.oversize, of.width + of.oversize))
    if small > least or large > most:
        yield (
            f"an offcut of {show_mm(large)} × {show_mm(small)} mm from {of.ref}, which is "
            f"{show_mm(of.length)} × {show_mm(of.width)} mm"
        )


def _program(station: Workstation, payload: Mapping[str, Any]) -> Iterator[str]:
    machine = station.records.machine(payload["machine"])
    if machine is None:
        return
    low, high = machine.back_gauge.low, machine.back_gauge.high
    for number, step in enumerate(payload["steps"], 1):
        gauge = mm(step["gauge_mm"])
        if (step.get("gauging") or "back gauge") == "back gauge" and not low <= gauge <= high:
            yield (
                f"step {number} sets the back gauge to {show_mm(gauge)} mm, and that of {machine.name} "
                f"goes from {show_mm(low)} to {show_mm(high)} mm"
            )


_OF_TYPE: Final = {
    "cuts.made": _cuts,
    "stock.taken": _taken,
    "gauge.measured": _gauge,
    "edge.measured": _edge,
    "offcut.stored": _offcut,
    "program.saved": _program,
}


def notes(station: Workstation, event_type: str, payload: Mapping[str, Any]) -> Iterator[str]:
    """What an operator should know about an entry that is written all the same."""
    told = payload.get("blade_edge")
    if event_type != "cuts.made" or told is None:
        return
    at_work = edge_at_work(station, payload["machine"])
    if at_work is not None and at_work != told:
        yield (
            f"edge {told} is told, and by the records edge {at_work} of {payload['machine']} is at work; "
            "if it was turned, log it: shearwright log blade"
        )


def edge_at_work(station: Workstation, machine: str) -> int | None:
    """The edge at work by what was logged here since the last pull, else by the record of the blade."""
    for one in reversed(station.outbox.of_type("blade.turned", after=station.records.settled_to)):
        payload = one.event["payload"]
        if payload["machine"] == machine:
            return int(payload["edge"])
    for _, blade in station.records.records("blade"):
        if blade.get("machine") == machine:
            return int(blade["edge"])
    return None
