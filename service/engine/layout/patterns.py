"""Filling a piece with strips, strips with slots, slots with stacked parts: the heart of the search.

A *strip* runs across the piece and is cut off along the first axis; a *slot* is cut off the strip
along the other axis; a slot holds one part or a *stack* of parts as broad as the slot. What is left
beside them is filled later, by the same means, where the number of stages allows.

Everything here is a proposal made with a quick model of the physical rules; :mod:`.tree` carries it
out by the rules themselves. Lengths are whole hundredths of a millimetre, values whole numbers.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import islice
from typing import Final

from service.engine.layout.alike import Alike, View
from service.engine.layout.kinds import Kind, Variant
from service.engine.layout.knapsack import Knapsack, Option, State
from service.engine.layout.levels import Level
from service.engine.layout.rules import Piece
from service.engine.layout.shapes import OTHER, Slot, Strip, Wish, slot_tolerance, strip_tolerance
from service.engine.layout.stacks import Stacks, nuisance
from service.engine.machine import Machine
from service.engine.plan import Axis
from service.engine.quantities import Length

_DEEPEST: Final = 24
"""States of a knapsack looked at until one leaves a rest that can be cut."""
_MOST_SLOTS: Final = 30
"""Slot shapes weighed against each other for one strip."""
_MOST_KEPT: Final = 20_000
"""Answers kept of one sort of question."""

_NO_STRIP: Final[tuple[Strip | None, int]] = (None, 0)


class Filler:
    """Proposes strips for a piece. `steps` counts the effort spent."""

    def __init__(
        self,
        machine: Machine,
        trim: Length,
        longest: Length,
        kinds: Sequence[Kind],
        sheets: Sequence[Piece] = (),
    ) -> None:
        self.machine = machine
        self.trim = trim
        self.limit = min(longest, machine.cutting_length)
        self.foot = machine.hold_down.foot_width
        self.kinds = kinds
        self.steps = 0
        self.variants: tuple[Variant, ...] = tuple(v for kind in kinds for v in kind.variants)
        self._only_last: dict[tuple[bool, Length, Length, Length], bool] = {}
        self._knapsack = Knapsack()
        self._stacks = Stacks(machine, self._knapsack)
        self._drops = sorted({machine.smallest_drop, machine.back_gauge.low, machine.hold_down.depth} - {0})
        self._ways: dict[Axis, list[tuple[Length, Length, Variant, int]]] = {
            axis: sorted(
                [(v.along(axis), v.along(OTHER[axis]), v, v.kind) for v in self.variants],
                key=lambda way: -way[1],
            )
            for axis in OTHER
        }
        self._alike = Alike(
            {axis: [Level.of(machine, piece.across(axis), trim) for piece in sheets] for axis in OTHER}
        )
        self._ends_known: dict[tuple[object, ...], bool] = {}

    def cuttable(self, breadth: Length) -> bool:
        """Whether a piece of that size along the blade fits the blade and can be gripped."""
        return self.foot <= breadth <= self.limit

    def strips(self, piece: Piece, axis: Axis, stages: int, wish: Wish) -> list[Strip]:
        """Strips for a piece, most valuable together, within the pieces still wanted.

        The wish is not changed. The strips are in the order in which they were chosen.
        """
        across = OTHER[axis]
        lengthwise = Level.of(self.machine, piece.along(axis), self.trim)
        crosswise = Level.of(self.machine, piece.across(axis), self.trim)
        if stages < 1 or not self.cuttable(piece.across(axis).size):
            return []
        left = list(wish.caps)
        chosen: list[Strip] = []
        room = lengthwise.room
        only_last_used = False
        before: dict[Length, tuple[Strip | None, int]] = {}
        while True:
            wide = crosswise.room
            ranked = self._breadths(axis, (room, wide), left, wish.values)
            if not ranked:
                return chosen
            view = View(axis, across, crosswise, stages, wish.values, left, wish.grain, ranked)
            if wish.lead is not None:
                first, steps = self._strip(view, wish.lead) if wish.lead <= room else _NO_STRIP
                self.steps += steps
                return [] if first is None else [first]
            built = self._best_strips(view, room, wish.sheets and not chosen, before)
            picked = self._pick(built, view, lengthwise, room, (len(chosen), only_last_used))
            progress = False
            for strip, wanted in picked:
                copies = min([wanted, *(left[kind] // count for kind, count in strip.use)])
                if copies == 0:
                    break
                progress = True
                for kind, count in strip.use:
                    left[kind] -= count * copies
                chosen.extend([strip] * copies)
                room -= strip.depth * copies
                if self._goes_last(lengthwise, strip.depth, strip_tolerance(strip, axis)):
                    only_last_used = True
            if not progress:
                return chosen

    def _breadths(
        self, axis: Axis, room: tuple[Length, Length], left: Sequence[int], values: Sequence[int]
    ) -> list[tuple[Length, list[tuple[Length, Variant, int]]]]:
        """What may lie in a room so deep and so broad: as :attr:`View.breadths`."""
        deep, wide = room
        breadths: dict[Length, list[tuple[Length, Variant, int]]] = {}
        for a, b, v, kind in self._ways[axis]:
            if a <= deep and b <= wide and left[kind] > 0 and values[kind] > 0:
                breadths.setdefault(b, []).append((a, v, kind))
        return list(breadths.items())

    def _best_strips(
        self, view: View, room: Length, sheets: bool, before: dict[Length, tuple[Strip | None, int]]
    ) -> list[Strip]:
        """The best strip of each depth that leads, `room` being what is left to cut them from.

        `before`: those found for the same piece when there was more to choose from, each with the steps
        that it takes, which count again.
        """
        caps = view.caps
        alike = sheets and self._alike.known(view)
        found: list[Strip] = []
        depths = self._leading(view)
        for depth in [*depths, *self._with_a_drop(view, depths, room)]:
            strip, steps = before.get(depth, _NO_STRIP)
            # What was the best of more is the best of less, as long as all of it is there.
            if strip is None or any(n > caps[kind] for kind, n in strip.use):
                strip, steps = (self._alike_strip if alike else self._strip)(view, depth)
                before[depth] = strip, steps
            self.steps += steps
            if strip is not None:
                found.append(strip)
        return found

    def _strip(self, view: View, depth: Length) -> tuple[Strip | None, int]:
        """The best strip of that depth, and the steps that it takes."""
        return self._strips(view, depth, (view.crosswise,))[0]

    def _alike_strip(self, view: View, depth: Length) -> tuple[Strip | None, int]:
        """The same, found for all sheets at once."""
        alike = self._alike
        if view.stages < 2 or not self.cuttable(depth):
            return self._strip(view, depth)
        known = alike.strips.get((view.axis, depth))
        if known is None:
            every = alike.views.get(view.axis)
            levels = alike.levels[view.axis]
            if every is None:
                widest = max(levels, key=lambda level: level.room)
                parts = self._breadths(view.axis, (self.limit, widest.room), view.caps, view.values)
                # Copies: passes correct their values in place, and this is kept for the sheets that follow.
                every = replace(
                    view,
                    crosswise=widest,
                    breadths=parts,
                    caps=list(view.caps),
                    values=tuple(view.values),
                )
                alike.views[view.axis] = every
            made = self._strips(every, depth, levels)
            known = alike.strips[view.axis, depth] = dict(zip(alike.places[view.axis], made, strict=True))
        return known[alike.place(view.crosswise)]

    def _with_a_drop(self, view: View, depths: Sequence[Length], room: Length) -> list[Length]:
        """Depths a drop more than those that equal parts fill to the end, where the last would be off size.

        That is so in strips deeper than the back gauge goes, which the stops measure: the last part would be
        what is left, with the errors of all cuts before it. With a drop beyond it, it is gauged like the
        others.
        """
        if view.stages < 3:
            return []
        found: dict[Length, None] = {}
        for depth in [one for one in depths if one > self.machine.back_gauge.deepest]:
            for _, group in view.breadths:
                for a, v, _ in group:
                    count = depth // a
                    if count < 2 or depth % a or view.caps[v.kind] < count:
                        continue
                    if self._stacks.height(a, v.tolerance(view.axis), depth, count) == count:
                        continue
                    for drop in self._drops:
                        more = depth + drop
                        if (
                            more <= room
                            and self._stacks.height(a, v.tolerance(view.axis), more, count) == count
                        ):
                            found[more] = None
                            break
        return [depth for depth in found if depth not in depths]

    def _leading(self, view: View) -> list[Length]:
        """The strip depths worth a closer look: by a quick guess of value for depth, and the deepest."""
        caps, values = view.caps, view.values
        rows = [(a, b, caps[kind], values[kind]) for b, group in view.breadths for a, _, kind in group]
        depths = sorted({row[0] for row in rows}, reverse=True)
        most = view.grain.depths
        if len(depths) <= most:
            return depths
        room = view.crosswise.room
        stacking = view.stages >= 3
        self.steps += len(depths) * len(rows) // 3
        narrowest = rows[-1][1]
        # One part high a slot is the same in every strip.
        singles = sorted([((value * 4096 // b, b, cap, value), a) for a, b, cap, value in rows], reverse=True)
        ranked: list[tuple[int, Length]] = []
        for depth in depths:
            if stacking:
                half = depth // 2
                slots = [slot for slot, a in singles if half < a <= depth]
                for a, b, cap, value in rows:
                    if a <= half:
                        count = min(depth // a, cap)
                        slots.append((count * value * 4096 // b, b, cap // count, count * value))
                slots.sort(reverse=True)
            else:
                slots = [slot for slot, a in singles if a == depth]
            guess, free = 0, room
            for _, b, copies, value in slots:
                if b <= free:
                    count = free // b
                    count = min(count, copies)
                    guess += count * value
                    free -= count * b
                    if free < narrowest:
                        break
            ranked.append((-(guess * 4096 // depth), depth))
        leaders = {depth for _, depth in sorted(ranked)[:most]} | set(depths[:2])
        return [depth for depth in depths if depth in leaders]

    def _slots(self, view: View, depth: Length) -> list[tuple[Slot, int]]:
        whole, room = view.crosswise.extent.size, view.crosswise.room
        can_cross = view.stages >= 2 and self.cuttable(depth)
        can_stack = view.stages >= 3
        axis, caps, values = view.axis, view.caps, view.values
        found: list[tuple[Slot, int]] = []
        for b, members in view.breadths:
            if b != whole and not can_cross:
                continue
            stacked = can_stack and self.foot <= b <= self.limit
            group = [one for one in members if one[0] == depth or (stacked and one[0] < depth)]
            if not group:
                continue
            if len(group) > 1:
                stacks, steps = self._stacks.stacked(view, [v for _, v, _ in group], b, depth)
                self.steps += steps
                found.extend(stacks)
                continue
            a, v, kind = group[0]
            cap, value = caps[kind], values[kind]
            count = 1
            if a < depth:
                count = self._stacks.height(a, v.tolerance(axis), depth, cap)
                if count == 0:
                    continue
                value = count * value - nuisance(value, count)
            most = room // b
            copies = cap // count
            found.append((Slot(b, (v,) * count, value, ((kind, count),)), copies if copies < most else most))
        return found

    def _goes_last(self, level: Level, item: Length, tolerance: Length) -> bool:
        key = level.extent.far_mill, level.extent.spread, item, tolerance
        known = self._only_last.get(key)
        if known is None:
            known = self._only_last[key] = level.only_last(item, tolerance)
        return known

    def _strips(self, view: View, depth: Length, levels: Sequence[Level]) -> list[tuple[Strip | None, int]]:
        """The best strip of that depth across each of these levels, and the steps that it takes.

        The level of the view is the one with most room.
        """
        slots = self._slots(view, depth)
        taken = 4 * len(slots)
        if not slots:
            return [(None, taken)] * len(levels)
        slots = _one_way_each(slots, view.caps, view.crosswise.room)
        if len(slots) > _MOST_SLOTS:
            # The best for their breadth, and the narrowest to fill up with.
            ranked = sorted(range(len(slots)), key=lambda i: (-slots[i][0].density, i))
            narrow = sorted(ranked, key=lambda i: (slots[i][0].breadth, i))[: _MOST_SLOTS // 6]
            keep = sorted({*ranked[: _MOST_SLOTS - len(narrow)], *narrow})
            slots = [slots[i] for i in keep]
        across = view.across
        options: list[Option] = []
        for slot, copies in slots:
            last = self._goes_last(view.crosswise, slot.breadth, slot_tolerance(slot, across))
            options.append((slot.breadth, slot.value, min(copies, 1) if last else copies))
        rooms = [level.room for level in levels]
        packed = self._knapsack.packed_each(rooms, options, view.grain.strip_cells)
        return [
            (self._cut_well(states, slots, depth, level, view), taken + steps)
            for level, (states, steps) in zip(levels, packed, strict=True)
        ]

    def _cut_well(
        self,
        states: Iterator[State],
        slots: list[tuple[Slot, int]],
        depth: Length,
        level: Level,
        view: View,
    ) -> Strip | None:
        """The first of these states that can be cut: the most valuable may leave a rest that cannot."""
        for total, value, counts in islice(states, _DEEPEST):
            if not counts:
                return None
            picked = [(slots[i][0], n) for i, n in counts.items()]
            if not self._ends(level.room - total, picked, view.across, level):
                continue
            use: dict[int, int] = {}
            for slot, n in picked:
                for kind, count in slot.use:
                    use[kind] = use.get(kind, 0) + n * count
            if all(count <= view.caps[kind] for kind, count in use.items()):
                return Strip(depth, tuple(picked), value, tuple(sorted(use.items())))
            return self._thinned(depth, picked, view.caps)
        return None

    def _thinned(self, depth: Length, slots: list[tuple[Slot, int]], caps: list[int]) -> Strip | None:
        """A strip with the slots taken out that ask for more pieces than are wanted."""
        left = list(caps)
        kept: list[tuple[Slot, int]] = []
        use: dict[int, int] = {}
        value = 0
        for slot, wanted in sorted(slots, key=lambda s: -s[0].density):
            needs = slot.use
            n = min([wanted, *(left[kind] // count for kind, count in needs)])
            if n <= 0:
                continue
            kept.append((slot, n))
            value += n * slot.value
            for kind, count in needs:
                left[kind] -= n * count
                use[kind] = use.get(kind, 0) + n * count
        return Strip(depth, tuple(kept), value, tuple(sorted(use.items()))) if kept else None

    def _ends(self, rest: Length, slots: list[tuple[Slot, int]], across: Axis, level: Level) -> bool:
        cuts = sum([n for _, n in slots]) - 1
        if rest == 0 and cuts == 0 and level.start == 0:
            slots = slots[:1]
        for slot, _ in slots:
            if self._ends_well(level, rest, slot.breadth, slot_tolerance(slot, across), cuts):
                return True
        return False

    def _ends_well(self, level: Level, rest: Length, last: Length, tolerance: Length, cuts: int) -> bool:
        """As :meth:`Level.ends_well`, asked once."""
        extent = level.extent
        key = (extent.far_mill, extent.spread, level.end_min, rest, last, tolerance, cuts)
        known = self._ends_known.get(key)
        if known is None:
            if len(self._ends_known) >= _MOST_KEPT:
                self._ends_known.clear()
            known = self._ends_known[key] = level.ends_well(rest, last, tolerance, cuts)
        return known

    def _pick(
        self, built: list[Strip], view: View, level: Level, room: Length, before: tuple[int, bool]
    ) -> list[tuple[Strip, int]]:
        """The strips to cut from what is left, by value for depth.

        `before` tells how many strips were chosen already, and whether one of them can only be the last.
        """
        tolerances = [strip_tolerance(strip, view.axis) for strip in built]
        options: list[Option] = []
        for strip, tolerance in zip(built, tolerances, strict=True):
            copies = min(view.caps[kind] // count for kind, count in strip.use)
            if self._goes_last(level, strip.depth, tolerance):
                copies = 0 if before[1] else min(copies, 1)
            options.append((strip.depth, strip.value, copies))
        states, steps = self._knapsack.packed(room, options, view.grain.sheet_cells)
        self.steps += steps
        for total, _, counts in islice(states, _DEEPEST):
            if not counts:
                return []
            cuts = before[0] + sum(counts.values()) - 1
            if any(self._ends_well(level, room - total, built[i].depth, tolerances[i], cuts) for i in counts):
                order = sorted(
                    counts, key=lambda i: (-(built[i].value * 4096 // built[i].depth), -built[i].depth, i)
                )
                return [(built[i], counts[i]) for i in order]
        return []


def _one_way_each(slots: list[tuple[Slot, int]], caps: Sequence[int], room: Length) -> list[tuple[Slot, int]]:
    """Where a kind is scarce, keep it in one slot shape only, the one that uses the strip best."""
    densities = [slot.density for slot, _ in slots]
    best: dict[int, int] = {}
    for i, (slot, _) in enumerate(slots):
        for kind, _ in slot.use:
            j = best.setdefault(kind, i)
            if densities[i] > densities[j]:
                best[kind] = i
    kept: list[tuple[Slot, int]] = []
    for i, pair in enumerate(slots):
        slot = pair[0]
        breadth = slot.breadth
        for kind, count in slot.use:
            j = best[kind]
            if j != i and slots[j][0].breadth != breadth and caps[kind] < 2 * count * (room // breadth):
                break
        else:
            kept.append(pair)
    return kept
