"""The story of a blade from what was written down on its machine."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from typing import Final, NamedTuple

from schemas.edge_log import measuring_in_log, turning_in_log
from schemas.shop import Blade
from service.api.parsed import own_materials
from service.engine.findings import Finding
from service.engine.machine import Machine
from service.engine.materials import Material
from service.engine.materials_table import UnknownMaterial, material_named
from service.engine.quantities import PER_MM
from service.engine.wear.edge import WearCut
from service.engine.wear.history import (
    BladeStory,
    Cutting,
    Happening,
    Turning,
    beyond_blade,
    on_blade,
    told,
)
from service.engine.wear.metres import severity
from service.store import story
from service.store.story import Cuts

BEFORE: Final = datetime(1, 1, 1, tzinfo=UTC)
"""Stands for a time that nobody wrote down."""


@dataclass(frozen=True, slots=True)
class ToldBlade:
    """The story of a blade, and what is to be said of how it was written down."""

    story: BladeStory
    findings: tuple[Finding, ...]

    def written(self, edge: int) -> list[Cutting]:
        """What was cut with an edge since it was fresh, and was written down as cuts."""
        return [one for one in self.story.cuts.get(edge, []) if one.at > BEFORE]


def blade_story(machine: Machine, blade: Blade, begin: datetime) -> ToldBlade:
    """The story of a blade on a machine; cuts before and after `begin` are told apart.

    Where the first cut of the edge at work came after that, it has its own time.
    """
    read = _Reader(machine)
    marks = _marks(machine, blade)
    turns = [place for place, one in enumerate(marks) if isinstance(one.happening, Turning)]
    first = 1 if turns else blade.edge
    replaced = [place for place in turns if _work(marks[place].happening) == "replaced"]
    since = 0
    if replaced:
        # Whatever was before is of another blade.
        marks = marks[replaced[-1] :]
        since = story.hour_of(marks[0].at)
    exact = {story.hour_of(one.at) for one in marks} | {story.hour_of(begin)}
    while True:
        cuts, doubtful = read.cuts(story.cuts_of(machine.id, exact, since))
        happenings = [one.happening for one in sorted([*marks, *cuts], key=lambda one: (one.at, one.number))]
        found, elsewhere = _with_unknown_places(machine, blade, first, happenings)
        told_blade = ToldBlade(found, (*found.findings, *elsewhere, *doubtful))
        earliest = min((one.at for one in told_blade.written(blade.edge)), default=begin)
        if earliest < begin or story.hour_of(earliest) in exact:
            return told_blade
        exact.add(story.hour_of(earliest))


class _At(NamedTuple):
    """What happened, its time, and the number of its event among those of the same time."""

    at: datetime
    number: int
    happening: Happening


def _marks(machine: Machine, blade: Blade) -> list[_At]:
    """Turns and measurements, and that the record says another blade was put on."""
    found = [
        _At(
            one.at,
            one.number,
            (turning_in_log if one.type == "blade.turned" else measuring_in_log)(one.at, one.payload),
        )
        for one in story.marks_of(machine.id)
    ]
    since = blade.edge_since
    if since is not None and not any(isinstance(one.happening, Turning) and one.at == since for one in found):
        # Nobody at the machine wrote that down: the record was made or changed here, for a blade put on then.
        found.append(_At(since, -1, Turning(since, blade.edge, "replaced")))
        found.sort(key=lambda one: (one.at, one.number))
    return found


def _work(one: Happening) -> str | None:
    return one.work if isinstance(one, Turning) else None


def _with_unknown_places(
    machine: Machine, blade: Blade, first: int, happenings: list[Happening]
) -> tuple[BladeStory, tuple[Finding, ...]]:
    """The story; use that the record knows of and no cut accounts for is spread evenly over the blade."""
    found = told(machine, first, happenings, blade.life_m)
    counted = math.fsum(one.equivalent_m for one in found.cuts.get(blade.edge, []))
    steel = material_named("plain steel")
    whole = machine.cutting_length / (PER_MM * 1000) * severity(machine, steel, machine.rating.thickness)
    strokes = round((blade.used_m[blade.edge - 1] - counted) / whole)
    if strokes < 1 or blade.used_m[blade.edge - 1] < 1.05 * counted:
        return found, ()
    resets = [place for place, one in enumerate(happenings, 1) if _work(one) not in {None, "turned"}]
    cut = WearCut(steel, machine.rating.thickness, machine.cutting_length, strokes)
    whole_story = list(happenings)
    whole_story.insert(resets[-1] if resets else 0, Cutting(BEFORE, cut, blade.edge))
    words = (
        f"the record of the blade says {blade.used_m[blade.edge - 1]:.0f} m, of which {counted:.0f} m were "
        "written down as cuts; where the rest was cut is not known, and it is spread over the blade"
    )
    finding = Finding("caution", "place-unknown", words, "record of the blade")
    return told(machine, first, whole_story, blade.life_m), (finding,)


class _Reader:
    """Cuts of the log on the blade of a machine; a grade that many of them have is looked up once."""

    def __init__(self, machine: Machine) -> None:
        self._blade = machine.cutting_length
        self._own = own_materials()
        self._named = cache(self._material)

    def _material(self, grade: str) -> Material | None:
        try:
            return material_named(grade, self._own)
        except UnknownMaterial:
            return None

    def cuts(self, log: Iterable[Cuts]) -> tuple[list[_At], tuple[Finding, ...]]:
        """The cuts, and what is to be said of entries that are not as they should be."""
        found: list[_At] = []
        unknown = beyond = 0
        for one in log:
            material = self._named(one.material)
            if material is None:
                unknown += one.events
                continue
            cut = WearCut(material, one.thickness, one.length, one.strokes, one.start)
            beyond += one.events * (cut.start + cut.cut_length > self._blade)
            cutting = Cutting(one.at, on_blade(self._blade, cut), one.edge, one.equivalent_m)
            found.append(_At(one.at, one.number, cutting))
        said = beyond_blade(self._blade, beyond)
        if unknown:
            words = f"{unknown} cuts are of grades that are not known here, and are left out"
            said = (*said, Finding("caution", "grades-unknown", words, "cutting log"))
        return found, said
