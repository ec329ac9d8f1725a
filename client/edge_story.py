"""What a blade went through, as far as it is known at this workstation without the network.

Cuts that were logged here are known with their places along the blade. Use that the record of the blade
has besides, from before this log began or from another station, is spread evenly along the blade, as at
the centre.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, Final

from client.cache.outbox import Written
from client.errors import InputWrong
from client.log.withdraw import withdrawn_ids
from client.workstation import Workstation
from schemas.edge_log import cut_in_log, cut_place, measuring_in_log, turning_in_log
from schemas.shop import Blade, BladeSchema
from service.engine.machine import Machine
from service.engine.materials_table import UnknownMaterial, material_named
from service.engine.quantities import PER_MM
from service.engine.wear.edge import WearCut
from service.engine.wear.history import (
    BladeStory,
    Cutting,
    Happening,
    Turning,
    on_blade,
    told,
)
from service.engine.wear.metres import severity

_TYPES: Final = ("cuts.made", "blade.turned", "edge.measured")


@dataclass(frozen=True, slots=True)
class EdgeStory:
    """The edge at work: what it cut, by this log and by the record, and what was measured of it.

    `elsewhere_m`: equivalent metres that are in the record only, spread along the blade. `left_out`:
    cuts of grades that are not known here. `beyond`: entries whose cuts reach beyond the blade.
    """

    machine: Machine
    blade: Blade | None
    story: BladeStory
    spread: tuple[WearCut, ...]
    elsewhere_m: float
    left_out: int
    beyond: int

    @property
    def cuts(self) -> list[WearCut]:
        """Everything that was cut with the edge at work."""
        return [*self.spread, *self.story.cuts_of(self.story.edge)]

    def since(self, moment: datetime) -> list[WearCut]:
        """What of it was logged here from a moment on."""
        return [one.cut for one in self.story.cuts.get(self.story.edge, []) if one.at >= moment]

    @property
    def unused(self) -> int:
        """Edges that are still fresh, as far as is known here."""
        used = [0.0] * self.machine.blade_edges if self.blade is None else list(self.blade.used_m)
        return sum(
            1
            for edge in range(1, self.machine.blade_edges + 1)
            if edge != self.story.edge and not used[edge - 1] and not self.story.cuts.get(edge)
        )


def edge_story(station: Workstation, machine: Machine) -> EdgeStory:
    """Go through the log of this station and the record of the blade.

    Raises
    ------
    InputWrong
        When an entry names an edge or a place that this blade has not.
    """
    blade = _blade_on(station, machine.id)
    if blade is not None:
        machine = replace(machine, blade_edges=blade.edges)
    entries = list(_entries(station, machine.id))
    read = [(one, _happening(station, machine, one)) for one in entries]
    happenings = [made for _, made in read if made is not None]
    first = 1 if blade is None or any(isinstance(one, Turning) for one in happenings) else blade.edge
    try:
        story = told(machine, first, happenings, blade.life_m if blade else None)
    except ValueError as error:
        raise InputWrong(str(error)) from error
    settled = station.records.settled_to
    if blade is not None and not any(isinstance(made, Turning) and one.row > settled for one, made in read):
        story.edge = blade.edge  # another station may have turned it since the last turn logged here
    spread, metres = _in_the_record_only(station, machine, blade, story, read)
    left_out = sum(made is None for _, made in read)
    beyond = sum(
        sum(cut_place(one.event["payload"])) > machine.cutting_length
        for one in entries
        if one.type == "cuts.made"
    )
    return EdgeStory(machine, blade, story, spread, metres, left_out, beyond)


def _blade_on(station: Workstation, machine: str) -> Blade | None:
    found = next((one for _, one in station.records.records("blade") if one.get("machine") == machine), None)
    return None if found is None else BladeSchema().load(found)


def _entries(station: Workstation, machine: str) -> Iterator[Written]:
    gone = withdrawn_ids(station.outbox)
    found = [one for kind in _TYPES for one in station.outbox.of_type(kind, after=0)]
    for one in sorted(found, key=lambda entry: entry.row):
        here = one.state not in {"reissued", "quarantined"} and one.event_id not in gone
        if here and one.event["payload"]["machine"] == machine:
            yield one


def _happening(station: Workstation, machine: Machine, one: Written) -> Happening | None:
    payload: Mapping[str, Any] = one.event["payload"]
    at = datetime.fromisoformat(one.happened_at)
    if one.type == "blade.turned":
        return turning_in_log(at, payload)
    if one.type == "edge.measured":
        return measuring_in_log(at, payload)
    try:
        material = material_named(payload["material"], station.records.materials())
    except UnknownMaterial:
        return None
    cut = on_blade(machine.cutting_length, cut_in_log(payload, material))
    return Cutting(at, cut, payload.get("blade_edge"), payload["equivalent_m"])


def _in_the_record_only(
    station: Workstation,
    machine: Machine,
    blade: Blade | None,
    story: BladeStory,
    read: list[tuple[Written, Happening | None]],
) -> tuple[tuple[WearCut, ...], float]:
    """Use of the edge at work that the record has and this log has not."""
    settled = station.records.settled_to
    freshened = any(
        isinstance(made, Turning) and made.work != "turned" and one.row > settled for one, made in read
    )
    if blade is None or freshened:
        return (), 0.0
    in_both = {id(made) for one, made in read if one.row <= settled}
    counted = math.fsum(one.equivalent_m for one in story.cuts.get(story.edge, []) if id(one) in in_both)
    metres = blade.used_m[story.edge - 1] - counted
    steel = material_named("plain steel")
    whole = machine.cutting_length / (PER_MM * 1000) * severity(machine, steel, machine.rating.thickness)
    strokes = round(metres / whole)
    if strokes < 1:
        return (), 0.0
    cut = WearCut(steel, machine.rating.thickness, machine.cutting_length, strokes)
    return (cut,), metres
