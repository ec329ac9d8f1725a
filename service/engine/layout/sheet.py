"""A sheet while parts are taken out and put back: its tree, and what was asked of it.

Most sheets stay as they are from one move of :mod:`.ruin` to the next, so that the rooms and the best
room for each kind are worked out when first asked for and kept. A sheet is never changed: one with a
part more or less is another sheet. Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, TypeAlias

from service.engine.layout.slack import Path, Room, Tree, paths_of, rooms_of
from service.engine.quantities import Length

Fit: TypeAlias = tuple[Length, Length, int, int]
"""How well a part goes into a room: (less spare, more spare, way it lies, number of the room)."""

NOWHERE: Final[Fit] = (1 << 62, 0, 0, 0)


class Sheet:
    """A sheet in use. `stock` is its type, `sides` what trims leave of it, `tree` None when it is empty.

    `least` and `levels` are the rooms that count, as in :func:`.slack.rooms_of`.
    """

    __slots__ = ("_paths", "_rooms", "deepest", "fits", "least", "levels", "sides", "stock", "tree", "widest")

    def __init__(
        self,
        stock: int,
        tree: Tree | None,
        sides: tuple[Length, Length],
        least: tuple[Length, Length],
        levels: int,
    ) -> None:
        self.stock = stock
        self.tree = tree
        self.sides = sides
        self.least = least
        self.levels = levels
        self.fits: dict[int, Fit] = {}
        self._rooms: list[Room] | None = None
        self._paths: list[Path] | None = None

    def rooms(self) -> list[Room]:
        """Where a part may be put; the whole sheet when it is empty."""
        if self._rooms is None:
            if self.tree is None:
                self._rooms = [(*self.sides, (), 0, -1)]
            else:
                self._rooms = rooms_of(self.tree, *self.sides, self.least, self.levels)
            self.widest = max([room[0] for room in self._rooms], default=0)
            self.deepest = max([room[1] for room in self._rooms], default=0)
        return self._rooms

    def paths(self) -> list[Path]:
        """The nodes that can be taken out."""
        if self._paths is None:
            self._paths = [] if self.tree is None else paths_of(self.tree)
        return self._paths

    def fit(self, kind: int, ways: Sequence[Tree]) -> Fit:
        """The room that leaves least beside a kind in one of its ways; :data:`NOWHERE` without one."""
        rooms = self._rooms if self._rooms is not None else self.rooms()
        best = NOWHERE
        least = best[0]
        for way, leaf in enumerate(ways):
            dx, dy = leaf[0], leaf[1]
            if dx > self.widest or dy > self.deepest:
                continue
            for at, room in enumerate(rooms):
                spare_x, spare_y = room[0] - dx, room[1] - dy
                if spare_x >= 0 and spare_y >= 0:
                    less, more = (spare_x, spare_y) if spare_x < spare_y else (spare_y, spare_x)
                    if less < least or (less == least and more < best[1]):
                        best, least = (less, more, way, at), less
        self.fits[kind] = best
        return best

    def all_fits(self, ways: Sequence[Tree]) -> list[Fit]:
        """Every room that a part goes into in one of its ways."""
        found: list[Fit] = []
        rooms = self.rooms()
        for way, leaf in enumerate(ways):
            dx, dy = leaf[0], leaf[1]
            for at, room in enumerate(rooms):
                spare_x, spare_y = room[0] - dx, room[1] - dy
                if spare_x >= 0 and spare_y >= 0:
                    fit = (spare_x, spare_y) if spare_x < spare_y else (spare_y, spare_x)
                    found.append((*fit, way, at))
        return found
