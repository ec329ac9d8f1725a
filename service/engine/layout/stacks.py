"""Parts of one breadth one above the other in a slot: how many, which, and what the last cut allows.

Each answer that takes effort comes with the steps that it takes, which count again when it is known.
"""

from __future__ import annotations

from typing import Final, TypeAlias

from service.engine.layout.alike import View
from service.engine.layout.kinds import Variant
from service.engine.layout.knapsack import Knapsack, Option
from service.engine.layout.levels import Level
from service.engine.layout.rules import Extent
from service.engine.layout.shapes import Slot
from service.engine.machine import Machine
from service.engine.plan import Axis
from service.engine.quantities import Length

_MOST_KEPT: Final = 20_000
"""Answers kept of one sort of question."""
_MOST_SHAPES: Final = 4
"""Stacks found for one breadth and depth."""
_CELLS: Final = 48
"""Cells of the array in which a stack is packed."""

_Stack: TypeAlias = tuple[tuple[Variant, ...], int]
"""Parts one above the other, and their value."""


class Stacks:
    """Proposes stacks for the slots of one machine."""

    def __init__(self, machine: Machine, knapsack: Knapsack) -> None:
        self.machine = machine
        self._knapsack = knapsack
        self._height_ok: dict[tuple[Length, Length, Length, int], bool] = {}
        self._known: dict[tuple[object, ...], tuple[_Stack | None, int]] = {}
        self._levels: dict[Length, Level] = {}

    def stacked(
        self, view: View, group: list[Variant], breadth: Length, depth: Length
    ) -> tuple[list[tuple[Slot, int]], int]:
        """The best stacks of parts of one breadth, until the parts or the strip run out; the steps."""
        caps = view.caps
        most = view.crosswise.room // breadth
        left = {v.kind: caps[v.kind] for v in group}
        found: list[tuple[Slot, int]] = []
        steps = 0
        for _ in range(_MOST_SHAPES):
            best, more = self._best(view, group, depth, left)
            steps += more
            if best is None:
                break
            slot = Slot.of(breadth, best[0], best[1])
            copies = min([most, *(left[kind] // count for kind, count in slot.use)])
            found.append((slot, copies))
            most -= copies
            if most <= 0:
                break
            for kind, count in slot.use:
                left[kind] -= count * copies
        return found, steps

    def _best(
        self, view: View, group: list[Variant], depth: Length, left: dict[int, int]
    ) -> tuple[_Stack | None, int]:
        """The best stack, its value less the trouble of cutting it; the steps."""
        axis, values = view.axis, view.values
        options: list[Option] = []
        members: list[Variant] = []
        for v in group:
            a = v.along(axis)
            count = min(left[v.kind], depth // a)
            if count > 0:
                members.append(v)
                options.append((a, values[v.kind], count))
        if not members:
            return None, 0
        key = (axis, depth, *[2 * v.kind + v.rotated for v in members], *options)
        known = self._known.get(key)
        if known is None:
            if len(self._known) >= _MOST_KEPT:
                self._known.clear()
            known = self._known[key] = self._found(members, options, axis, depth)
        return known

    def _found(
        self, members: list[Variant], options: list[Option], axis: Axis, depth: Length
    ) -> tuple[_Stack | None, int]:
        """The best stack of these, and the steps that it takes."""
        states, steps = self._knapsack.packed(depth, options, _CELLS)
        level = self._level(depth)
        for total, value, counts in states:
            if not counts:
                break
            stack = tuple([members[i] for i, count in counts.items() for _ in range(count)])
            rest = depth - total
            if len(stack) == 1 and rest == 0:
                return (stack, value), steps
            if any(
                level.ends_well(rest, members[i].along(axis), members[i].tolerance(axis), len(stack) - 1)
                for i in counts
            ):
                return (stack, value - nuisance(value // len(stack), len(stack))), steps
        return None, steps

    def _level(self, depth: Length) -> Level:
        """The level of a strip that was cut to that depth by the back gauge, or if too deep by the stops."""
        level = self._levels.get(depth)
        if level is None:
            spread, stops = self.machine.back_gauge.accuracy, self.machine.front_stops
            if stops is not None and depth > self.machine.back_gauge.deepest:
                spread = stops.accuracy
            extent = Extent(depth, False, False, spread)
            level = self._levels[depth] = Level.of(self.machine, extent, 0)
        return level

    def height(self, a: Length, tolerance: Length, depth: Length, cap: int) -> int:
        """How many parts of that depth can be cut from a slot as deep as the strip, `cap` at most."""
        count = depth // a
        count = min(count, cap)
        known = self._height_ok
        while count > 0:
            key = (depth, a, tolerance, count)
            good = known.get(key)
            if good is None:
                level = self._level(depth)
                good = known[key] = level.ends_well(depth - count * a, a, tolerance, count - 1)
            if good:
                return count
            count -= 1
        return 0


def nuisance(value: int, count: int) -> int:
    """A trifle off the value of slots that must be turned and cut again, so that plain ones win ties."""
    return (value >> 12) * (1 + count)
