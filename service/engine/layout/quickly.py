"""Whether the machine can about cut a tree of sizes: asked often, and right but for the finer rules.

Spread and tolerances are left aside, so that a yes is tried by the rules themselves later on; what
a level leaves at its end, the length along the blade and the levels of cuts are looked at. Lengths
are whole hundredths of a millimetre.
"""

from __future__ import annotations

from typing import Final

from service.engine.layout.context import Context
from service.engine.layout.levels import Level
from service.engine.layout.rules import NO_LIMIT, Extent
from service.engine.layout.slack import PART, Tree
from service.engine.quantities import Length

NEVER: Final = 1 << 20
"""More levels of cuts than there can be: the tree cannot be cut."""


class Quickly:
    """Answers for one machine; each question of one level is asked once."""

    def __init__(self, context: Context) -> None:
        self.context = context
        self.machine = context.job.machine
        self.known: dict[tuple[Length, Length, bool], bool] = {}

    def side(self, extent: Extent) -> Length:
        """What trims leave of a direction of a sheet."""
        side = Level.of(self.machine, extent, self.context.trim)
        return max(side.room - side.end_min, 0)

    def levels(self, tree: Tree, width: Length, height: Length, mill: bool = False) -> int:
        """Levels of cuts inside one another in a piece of that size, :data:`NEVER` where they cannot be made.

        With `mill` the piece has mill edges all round, and its size is what :meth:`side` leaves of it.
        """
        dx, dy, axis, content = tree
        if axis == PART:
            across = self._ends(width - dx, dx, height, mill) if width != dx or mill else 0
            along = self._ends(height - dy, dy, dx, mill) if height != dy or mill else 0
            return across + along
        if axis:
            rest, breadth = height - dy, width
            if not any(self._ends(rest, child[1], breadth, mill) < NEVER for child in content):
                return NEVER
            return 1 + max([self.levels(child, width, child[1]) for child in content])
        rest, breadth = width - dx, height
        if not any(self._ends(rest, child[0], breadth, mill) < NEVER for child in content):
            return NEVER
        return 1 + max([self.levels(child, child[0], height) for child in content])

    def _ends(self, rest: Length, last: Length, breadth: Length, mill: bool) -> int:
        if not self.context.filler.cuttable(breadth):
            return NEVER
        key = (rest, last, mill)
        if key not in self.known:
            trim = self.context.trim if mill else 0
            level = Level.of(self.machine, Extent(last + rest + trim, False, mill and trim > 0, 0), trim)
            self.known[key] = level.ends_well(rest + trim, last, NO_LIMIT, 0)
        return 1 if self.known[key] else NEVER
