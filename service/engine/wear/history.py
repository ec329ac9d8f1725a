"""The story of a blade from what was written down: cuts, turns, regrinds, measurements.

Every edge keeps what it was used for until the blade is reground; turning only puts another edge to
work. What measurements taught stays through a regrind, as the steel is the same, and is forgotten when
the blade is replaced.

Lengths are whole hundredths of a millimetre unless a name says otherwise.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Literal, TypeAlias

from service.engine.findings import Finding
from service.engine.machine import Machine
from service.engine.quantities import Length, show_mm
from service.engine.wear.edge import EdgeUse, UseSoFar, WearCut, life_passes
from service.engine.wear.learn import BladeHalf, Measure
from service.engine.wear.seen import Seen, seen_burr, seen_radius


@dataclass(frozen=True, slots=True)
class Cutting:
    """Equal strokes; `edge` None: with the edge at work. `equivalent_m` as it was written down [m]."""

    at: datetime
    cut: WearCut
    edge: int | None = None
    equivalent_m: float = 0.0


@dataclass(frozen=True, slots=True)
class Turning:
    """Another edge put to work, after the blade was turned, reground or replaced."""

    at: datetime
    edge: int
    work: Literal["turned", "reground", "replaced"]


@dataclass(frozen=True, slots=True)
class Measuring:
    """An edge measured: its radius, or the burr it leaves on sheet of a thickness, or both.

    `place` along the blade, from the squaring arm; None: at the worst place. `edge` None: the one at work.
    """

    at: datetime
    edge: int | None = None
    radius_um: float | None = None
    burr_mm: float | None = None
    thickness: Length | None = None
    place: Length | None = None
    half: BladeHalf | None = None


Happening: TypeAlias = Cutting | Turning | Measuring


@dataclass(slots=True)
class BladeStory:
    """How a blade stands: the edge at work, the cuts of each edge since it was fresh, what was measured.

    `findings` are about what was measured since the edge at work was put to work.
    """

    edge: int
    cuts: dict[int, list[Cutting]] = field(default_factory=dict)
    measures: list[Measure] = field(default_factory=list)
    findings: tuple[Finding, ...] = ()

    def cuts_of(self, edge: int) -> list[WearCut]:
        """What an edge was used for since it was fresh."""
        return [one.cut for one in self.cuts.get(edge, [])]


def on_blade(blade: Length, cut: WearCut) -> WearCut:
    """The cut where the blade is: one that reaches beyond its end is moved back, as its place cannot be true.

    Only what is longer than the blade is shortened; a machine that got a shorter one has such cuts.

    >>> from service.engine.materials_table import material_named
    >>> moved = on_blade(300000, WearCut(material_named("S235JR"), 300, 100000, 1, 250000))
    >>> moved.start, moved.cut_length
    (200000, 100000)
    """
    if cut.start + cut.cut_length <= blade:
        return cut
    length = min(cut.cut_length, blade)
    return replace(cut, cut_length=length, start=min(cut.start, blade - length))


def beyond_blade(blade: Length, entries: int) -> tuple[Finding, ...]:
    """What is said of so many entries whose cuts reach beyond the blade; nothing of none."""
    if not entries:
        return ()
    words = (
        f"{entries} {'entry is' if entries == 1 else 'entries are'} of cuts that reach beyond the blade of "
        f"{show_mm(blade)} mm; they are counted at its end, and for its length at most: look at the "
        "place and the length that were written down"
    )
    return (Finding("caution", "beyond-blade", words, "cutting log"),)


def told(
    machine: Machine, edge: int, happenings: Iterable[Happening], edge_life_m: float | None = None
) -> BladeStory:
    """Go through what happened, in the order given.

    Parameters
    ----------
    machine
        With the length of its blade.
    edge
        The edge at work at the beginning.
    happenings
        In the order of their times.
    edge_life_m
        Life to reckon shares with; None: that of the machine profile [m].
    """
    story = BladeStory(edge)
    life = life_passes(machine, edge_life_m)
    added: dict[int, _Added] = {}
    for one in happenings:
        if isinstance(one, Cutting):
            story.cuts.setdefault(one.edge or story.edge, []).append(one)
        elif isinstance(one, Turning):
            story.edge = one.edge
            story.findings = ()
            if one.work != "turned":
                story.cuts.clear()
                added.clear()
            if one.work == "replaced":
                story.measures.clear()
        else:
            measured = one.edge or story.edge
            use = added.setdefault(measured, _Added(machine)).up_to(story.cuts.get(measured, ()))
            seen = _measured(use, one, life)
            story.measures += seen.measures
            if one.edge in {None, story.edge}:
                story.findings = Seen((), story.findings).plus(seen).findings
    return story


class _Added:
    """The cuts of an edge that were added up when it was measured before, and their sum."""

    def __init__(self, machine: Machine) -> None:
        self._so_far = UseSoFar(machine)
        self._count = 0

    def up_to(self, cuts: Sequence[Cutting]) -> EdgeUse:
        """What an edge was used for, by all of its cuts."""
        self._so_far.add(one.cut for one in cuts[self._count :])
        self._count = len(cuts)
        return self._so_far.use()


def _measured(use: EdgeUse, one: Measuring, life: float) -> Seen:
    share = (use.worst.passes if one.place is None else use.passes_at(one.place)) / life
    found = Seen()
    if one.radius_um is not None:
        found = found.plus(seen_radius(share, one.radius_um, one.half))
    if one.burr_mm is not None and one.thickness is not None:
        found = found.plus(seen_burr(share, one.thickness, one.burr_mm))
    return found
