"""A sheet while parts are taken out and put back: its tree, and what was asked of it.

Most sheets stay as they are from one move of :mod:`.ruin` to the next, so that the rooms and the best
room for each kind are worked out when first asked for and kept. A sheet is never changed: one with a
part more or less is another sheet. Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from typing import Final, TypeAlias

from service.engine.layout.kinds import Variant
from service.engine.layout.slack import Path, Room, Tree, paths_of, rooms_of
from service.engine.quantities import Length

Fit: TypeAlias = tuple[Length, Length, int, int]
"""How well a part goes into a room: (less spare, more spare, its variant, number of the room)."""

NOWHERE: Final[Fit] = (1 << 62, 0, 0, 0)


class Reach:
    """Which variants go into a room of some size: bit i of an answer is variant i.

    >>> reach = Reach([Variant(0, 50, 20, False, 0, 0), Variant(0, 20, 50, True, 0, 0)])
    >>> bin(reach.into(30, 60)), bin(reach.into(50, 50)), bin(reach.into(19, 90))
    ('0b10', '0b11', '0b0')
    """

    def __init__(self, variants: Sequence[Variant]) -> None:
        self.xs, self.by_x = _sets([v.dx for v in variants])
        self.ys, self.by_y = _sets([v.dy for v in variants])

    def into(self, x: Length, y: Length) -> int:
        """The variants that are no longer than `x` along x and no longer than `y` along y."""
        return self.by_x[bisect_right(self.xs, x)] & self.by_y[bisect_right(self.ys, y)]


def _sets(sizes: Sequence[Length]) -> tuple[list[Length], list[int]]:
    """The sizes in rising order; and of which numbers the first 0, 1, 2 … of them are, as bits."""
    order = sorted(range(len(sizes)), key=lambda i: sizes[i])
    sets = [0]
    for i in order:
        sets.append(sets[-1] | 1 << i)
    return [sizes[i] for i in order], sets


class Sheet:
    """A sheet in use. `stock` is its type, `sides` what trims leave of it, `tree` None when it is empty.

    `least` and `levels` are the rooms that count, as in :func:`.slack.rooms_of`. `held` are the variants
    that go into one of them at least, as bits, `free` is the area that no part takes; -1 while they are
    not known.
    """

    __slots__ = (
        "_paths",
        "_rooms",
        "_sets",
        "fits",
        "free",
        "held",
        "least",
        "levels",
        "sides",
        "stock",
        "tree",
    )

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
        self.held = -1
        self.free = -1
        self.fits: dict[int, Fit] = {}
        self._rooms: list[Room] | None = None
        self._sets: list[int] = []
        self._paths: list[Path] | None = None

    def rooms(self) -> list[Room]:
        """Where a part may be put; the whole sheet when it is empty."""
        if self._rooms is None:
            if self.tree is None:
                self._rooms = [(*self.sides, (), 0, -1)]
            else:
                self._rooms = rooms_of(self.tree, *self.sides, self.least, self.levels)
        return self._rooms

    def hold(self, reach: Reach) -> None:
        """Work out `held`, which :meth:`fit` needs."""
        self._sets = sets = [reach.into(room[0], room[1]) for room in self.rooms()]
        held = 0
        for some in sets:
            held |= some
        self.held = held

    def paths(self) -> list[Path]:
        """The nodes that can be taken out."""
        if self._paths is None:
            self._paths = [] if self.tree is None else paths_of(self.tree)
        return self._paths

    def fit(self, kind: int, ways: Sequence[Tree]) -> Fit:
        """The room that leaves least beside a kind in one of its ways; :data:`NOWHERE` without one."""
        best = NOWHERE
        rooms, sets = self.rooms(), self._sets
        for way in ways:
            dx, dy, variant = way[0], way[1], way[3]
            bit = 1 << variant
            for at, some in enumerate(sets):
                if some & bit:
                    room = rooms[at]
                    less, more = room[0] - dx, room[1] - dy
                    if less > more:
                        less, more = more, less
                    if less < best[0] or (less == best[0] and more < best[1]):
                        best = (less, more, variant, at)
        self.fits[kind] = best
        return best

    def all_fits(self, ways: Sequence[Tree]) -> list[Fit]:
        """Every room that a part goes into in one of its ways."""
        found: list[Fit] = []
        rooms = self.rooms()
        for way in ways:
            dx, dy, variant = way[0], way[1], way[3]
            for at, room in enumerate(rooms):
                spare_x, spare_y = room[0] - dx, room[1] - dy
                if spare_x >= 0 and spare_y >= 0:
                    fit = (spare_x, spare_y) if spare_x < spare_y else (spare_y, spare_x)
                    found.append((*fit, variant, at))
        return found
