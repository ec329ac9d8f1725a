"""One round of filling a piece, and the strips across sheets of all sizes that are found at once in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

from service.engine.layout.kinds import Variant
from service.engine.layout.levels import Level
from service.engine.layout.shapes import Grain, Strip
from service.engine.plan import Axis
from service.engine.quantities import Length

Place: TypeAlias = tuple[Length, Length, Length, bool, Length]
"""What strips across a level depend on: its room and what its ends ask for."""


@dataclass(frozen=True, slots=True)
class View:
    """One round of filling: the direction, the levels, and what may be used."""

    axis: Axis
    across: Axis
    crosswise: Level
    stages: int
    values: Sequence[int]
    caps: list[int]
    grain: Grain
    breadths: list[tuple[Length, list[tuple[Length, Variant, int]]]]
    """By falling breadth: the parts as broad as that, each with its depth and its kind."""


class Alike:
    """Strips across sheets of all sizes, found at once for the same worths of parts and pieces wanted."""

    def __init__(self, levels: dict[Axis, list[Level]]) -> None:
        # Those with the same edges as the first.
        self.levels = {
            axis: [one for one in of if _edges(one) == _edges(of[0])] for axis, of in levels.items()
        }
        self.places = {axis: [self.place(one) for one in of] for axis, of in self.levels.items()}
        self.strips: dict[tuple[Axis, Length], dict[Place, tuple[Strip | None, int]]] = {}
        self.views: dict[Axis, View] = {}
        self._wish: tuple[object, ...] = ()

    def place(self, level: Level) -> Place:
        """What strips across a level depend on."""
        return (level.room, *_edges(level))

    def known(self, view: View) -> bool:
        """Whether there are several sheets, this one among them; what was found for others is forgotten."""
        places = self.places[view.axis]
        if len(places) < 2 or self.place(view.crosswise) not in places:
            return False
        wish = (tuple(view.values), tuple(view.caps), view.grain, view.stages)
        if wish != self._wish:
            self.strips.clear()
            self.views.clear()
            self._wish = wish
        return True


def _edges(level: Level) -> tuple[Length, Length, bool, Length]:
    return level.start, level.end_min, level.extent.far_mill, level.extent.spread
