"""Filling a piece with strips, strips with slots, slots with stacked parts: the heart of the search.

A *strip* runs across the piece and is cut off along the first axis; a *slot* is cut off the strip
along the other axis; a slot holds one part or a *stack* of parts as broad as the slot. What is left
beside them is filled later, by the same means, where the number of stages allows.

Everything here is a proposal made with a quick model of the physical rules; :mod:`.tree` carries it
out by the rules themselves. Lengths are whole hundredths of a millimetre, values whole numbers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from service.engine.layout.kinds import Kind, Variant
from service.engine.layout.knapsack import Option, knapsack, taken
from service.engine.layout.levels import Level
from service.engine.layout.rules import NO_LIMIT, Extent, Piece
from service.engine.machine import Machine
from service.engine.plan import Axis
from service.engine.quantities import Length

OTHER: dict[Axis, Axis] = {"x": "y", "y": "x"}


@dataclass(frozen=True, slots=True)
class Slot:
    """A stack of parts of one breadth; a single part as deep as the strip needs no further cut."""

    breadth: Length
    stack: tuple[Variant, ...]
    value: int

    def use(self) -> dict[int, int]:
        """How many of each kind."""
        counts: dict[int, int] = {}
        for variant in self.stack:
            counts[variant.kind] = counts.get(variant.kind, 0) + 1
        return counts


@dataclass(frozen=True, slots=True)
class Strip:
    """Slots side by side in a strip of one depth: (slot, how many)."""

    depth: Length
    slots: tuple[tuple[Slot, int], ...]
    value: int
    use: tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class Grain:
    """How finely a search looks: cells of the knapsacks, and how many strip depths are tried well."""

    strip_cells: int = 96
    sheet_cells: int = 256
    depths: int = 8


class Filler:
    """Proposes strips for a piece. `steps` counts the effort spent."""

    def __init__(self, machine: Machine, trim: Length, longest: Length, kinds: Sequence[Kind]) -> None:
        self.machine = machine
        self.trim = trim
        self.limit = min(longest, machine.cutting_length)
        self.foot = machine.hold_down.foot_width
        self.kinds = kinds
        self.steps = 0
        self.variants: tuple[Variant, ...] = tuple(v for kind in kinds for v in kind.variants)
        accuracy = machine.back_gauge.accuracy
        self._clean = accuracy
        self._stack_ok: dict[tuple[Length, Length, Length, int], bool] = {}

    def cuttable(self, breadth: Length) -> bool:
        """Whether a piece of that size along the blade fits the blade and can be gripped."""
        return self.foot <= breadth <= self.limit

    def strips(
        self,
        piece: Piece,
        axis: Axis,
        stages: int,
        values: Sequence[int],
        caps: list[int],
        grain: Grain,
    ) -> list[Strip]:
        """Strips for a piece, most valuable together, within the pieces still wanted (`caps`).

        `caps` is not changed. The strips are in the order in which they were chosen.
        """
        across = OTHER[axis]
        lengthwise = Level.of(self.machine, piece.along(axis), self.trim)
        crosswise = Level.of(self.machine, piece.across(axis), self.trim)
        if stages < 1 or not self.cuttable(piece.across(axis).size):
            return []
        left = list(caps)
        chosen: list[Strip] = []
        room = lengthwise.room
        only_last_used = False
        while True:
            fit = [
                v
                for v in self.variants
                if left[v.kind] > 0
                and values[v.kind] > 0
                and v.along(axis) <= room
                and v.along(across) <= crosswise.room
            ]
            if not fit:
                return chosen
            built = self._best_strips(fit, axis, crosswise, stages, values, left, room, grain)
            picked = self._pick(built, axis, lengthwise, room, left, grain, len(chosen), only_last_used)
            progress = False
            for strip, copies in picked:
                copies = min([copies, *(left[kind] // count for kind, count in strip.use)])
                if copies == 0:
                    break
                progress = True
                for kind, count in strip.use:
                    left[kind] -= count * copies
                chosen.extend([strip] * copies)
                room -= strip.depth * copies
                if lengthwise.only_last(strip.depth, strip_tolerance(strip, axis)):
                    only_last_used = True
            if not progress:
                return chosen

    def _best_strips(
        self,
        fit: list[Variant],
        axis: Axis,
        crosswise: Level,
        stages: int,
        values: Sequence[int],
        caps: list[int],
        room: Length,
        grain: Grain,
    ) -> list[Strip]:
        depths = sorted({v.along(axis) for v in fit}, reverse=True)
        ranked: list[tuple[int, Length, list[tuple[Slot, int]]]] = []
        for depth in depths:
            slots = self._slots(fit, axis, depth, crosswise, stages, values, caps)
            if not slots:
                continue
            # A quick guess: slots by value for their breadth until the strip is full.
            guess, free = 0, crosswise.room
            for slot, copies in sorted(slots, key=lambda s: -(s[0].value * 4096 // s[0].breadth)):
                count = min(copies, free // slot.breadth)
                guess += count * slot.value
                free -= count * slot.breadth
            ranked.append((guess * 4096 // depth, depth, slots))
        self.steps += 2 * len(depths)
        leaders = sorted(ranked, key=lambda r: (-r[0], -r[1]))[: grain.depths]
        deepest = ranked[:2]
        strips: list[Strip] = []
        for entry in ranked:
            if entry in leaders or entry in deepest:
                strip = self._strip(entry[1], entry[2], axis, crosswise, caps, grain)
                if strip is not None:
                    strips.append(strip)
        return strips

    def _slots(
        self,
        fit: list[Variant],
        axis: Axis,
        depth: Length,
        crosswise: Level,
        stages: int,
        values: Sequence[int],
        caps: list[int],
    ) -> list[tuple[Slot, int]]:
        across = OTHER[axis]
        whole = crosswise.extent.size
        can_cross = stages >= 2 and self.cuttable(depth)
        groups: dict[Length, list[Variant]] = {}
        for v in fit:
            a = v.along(axis)
            if a > depth:
                continue
            b = v.along(across)
            if b != whole and not can_cross:
                continue
            if a < depth and (stages < 3 or not self.cuttable(b)):
                continue
            groups.setdefault(b, []).append(v)
        found: list[tuple[Slot, int]] = []
        for b in sorted(groups, reverse=True):
            found.extend(self._stacks(groups[b], b, axis, depth, values, caps, crosswise.room // b))
        return self._one_way_each(found, caps, crosswise.room)

    def _stacks(
        self,
        group: list[Variant],
        breadth: Length,
        axis: Axis,
        depth: Length,
        values: Sequence[int],
        caps: list[int],
        most: int,
    ) -> list[tuple[Slot, int]]:
        """The best stacks of parts of one breadth, until the parts or the strip run out."""
        if len(group) == 1:
            v = group[0]
            count = self._stack_height(v, axis, depth, caps[v.kind])
            if count == 0:
                return []
            value = count * values[v.kind] - _nuisance(values[v.kind], count, v.along(axis) == depth)
            return [(Slot(breadth, (v,) * count, value), min(most, caps[v.kind] // count))]
        left = {v.kind: caps[v.kind] for v in group}
        found: list[tuple[Slot, int]] = []
        for _ in range(4):
            slot = self._best_stack(group, breadth, axis, depth, values, left)
            if slot is None:
                break
            use = slot.use()
            copies = min(left[kind] // count for kind, count in use.items())
            copies = min(copies, most)
            found.append((slot, copies))
            most -= copies
            if most <= 0:
                break
            for kind, count in use.items():
                left[kind] -= count * copies
        return found

    def _best_stack(
        self,
        group: list[Variant],
        breadth: Length,
        axis: Axis,
        depth: Length,
        values: Sequence[int],
        left: dict[int, int],
    ) -> Slot | None:
        options: list[Option] = []
        members: list[Variant] = []
        for v in group:
            if left[v.kind] <= 0:
                continue
            members.append(v)
            options.append((v.along(axis), values[v.kind], left[v.kind]))
        if not members:
            return None
        states, steps = knapsack(depth, options, 48)
        self.steps += steps
        level = Level.of(self.machine, Extent(depth, False, False, self._clean), 0)
        for total, value, link in reversed(states):
            if link is None:
                return None
            counts = taken(link)
            stack = tuple(members[i] for i, count in counts.items() for _ in range(count))
            rest = depth - total
            if (len(stack) == 1 and rest == 0) or any(
                level.ends_well(rest, v.along(axis), v.tolerance(axis), len(stack) - 1) for v in set(stack)
            ):
                return Slot(breadth, stack, value)
        return None

    def _stack_height(self, v: Variant, axis: Axis, depth: Length, cap: int) -> int:
        a = v.along(axis)
        if a == depth:
            return 1
        count = min(cap, depth // a)
        while count > 0:
            key = (depth, a, v.tolerance(axis), count)
            good = self._stack_ok.get(key)
            if good is None:
                level = Level.of(self.machine, Extent(depth, False, False, self._clean), 0)
                good = level.ends_well(depth - count * a, a, v.tolerance(axis), count - 1)
                self._stack_ok[key] = good
            if good:
                return count
            count -= 1
        return 0

    def _one_way_each(
        self, slots: list[tuple[Slot, int]], caps: list[int], room: Length
    ) -> list[tuple[Slot, int]]:
        """Where a kind is scarce, keep it in one slot shape only, the one that uses the strip best."""
        best: dict[int, tuple[int, int]] = {}
        for i, (slot, _) in enumerate(slots):
            density = slot.value * 4096 // slot.breadth
            for kind in slot.use():
                if kind not in best or density > best[kind][0]:
                    best[kind] = (density, i)
        kept: list[tuple[Slot, int]] = []
        for i, (slot, copies) in enumerate(slots):
            plenty = True
            for kind, count in slot.use().items():
                j = best[kind][1]
                if j != i and slots[j][0].breadth != slot.breadth:
                    plenty = plenty and caps[kind] >= 2 * count * (room // slot.breadth)
            if plenty:
                kept.append((slot, copies))
        return kept

    def _strip(
        self,
        depth: Length,
        slots: list[tuple[Slot, int]],
        axis: Axis,
        crosswise: Level,
        caps: list[int],
        grain: Grain,
    ) -> Strip | None:
        across = OTHER[axis]
        room = crosswise.room
        options: list[Option] = []
        for slot, copies in slots:
            tolerance = min(v.tolerance(across) for v in slot.stack)
            most = 1 if crosswise.only_last(slot.breadth, tolerance) else copies
            options.append((slot.breadth, slot.value, most))
        states, steps = knapsack(room, options, grain.strip_cells)
        self.steps += steps
        tries = 0
        for total, value, link in reversed(states):
            if link is None or tries > 24:
                return None
            rest = room - total
            counts = taken(link)
            if not self._ends(rest, [(slots[i][0], n) for i, n in counts.items()], across, crosswise):
                tries += 1
                continue
            use: dict[int, int] = {}
            for i, n in counts.items():
                for kind, count in slots[i][0].use().items():
                    use[kind] = use.get(kind, 0) + n * count
            if all(count <= caps[kind] for kind, count in use.items()):
                return Strip(
                    depth,
                    tuple((slots[i][0], n) for i, n in counts.items()),
                    value,
                    tuple(sorted(use.items())),
                )
            return self._thinned(depth, [(slots[i][0], n) for i, n in counts.items()], caps)
        return None

    def _thinned(self, depth: Length, slots: list[tuple[Slot, int]], caps: list[int]) -> Strip | None:
        """A strip with the slots taken out that ask for more pieces than are wanted."""
        left = list(caps)
        kept: list[tuple[Slot, int]] = []
        use: dict[int, int] = {}
        value = 0
        for slot, n in sorted(slots, key=lambda s: -(s[0].value * 4096 // s[0].breadth)):
            needs = slot.use()
            n = min([n, *(left[kind] // count for kind, count in needs.items())])
            if n <= 0:
                continue
            kept.append((slot, n))
            value += n * slot.value
            for kind, count in needs.items():
                left[kind] -= n * count
                use[kind] = use.get(kind, 0) + n * count
        return Strip(depth, tuple(kept), value, tuple(sorted(use.items()))) if kept else None

    def _ends(self, rest: Length, slots: list[tuple[Slot, int]], across: Axis, level: Level) -> bool:
        cuts = sum(n for _, n in slots) - 1
        if rest == 0 and cuts == 0 and level.start == 0:
            return level.ends_well(0, slots[0][0].breadth, _slot_tolerance(slots[0][0], across), 0)
        return any(level.ends_well(rest, s.breadth, _slot_tolerance(s, across), cuts) for s, _ in slots)

    def _pick(
        self,
        built: list[Strip],
        axis: Axis,
        level: Level,
        room: Length,
        caps: list[int],
        grain: Grain,
        cuts_before: int,
        only_last_used: bool,
    ) -> list[tuple[Strip, int]]:
        axis_tolerance = [strip_tolerance(strip, axis) for strip in built]
        options: list[Option] = []
        for strip, tolerance in zip(built, axis_tolerance, strict=True):
            copies = min(caps[kind] // count for kind, count in strip.use)
            if level.only_last(strip.depth, tolerance):
                copies = 0 if only_last_used else min(copies, 1)
            options.append((strip.depth, strip.value, copies))
        states, steps = knapsack(room, options, grain.sheet_cells)
        self.steps += steps
        tries = 0
        for total, _, link in reversed(states):
            if link is None or tries > 24:
                return []
            counts = taken(link)
            rest = room - total
            cuts = cuts_before + sum(counts.values()) - 1
            if any(level.ends_well(rest, built[i].depth, axis_tolerance[i], cuts) for i in counts):
                order = sorted(
                    counts, key=lambda i: (-(built[i].value * 4096 // built[i].depth), -built[i].depth, i)
                )
                return [(built[i], counts[i]) for i in order]
            tries += 1
        return []


def _nuisance(value: int, count: int, plain: bool) -> int:
    """A trifle off the value of slots that must be turned and cut again, so that plain ones win ties."""
    return 0 if plain else (value >> 12) * (1 + count)


def _slot_tolerance(slot: Slot, across: Axis) -> Length:
    return min(v.tolerance(across) for v in slot.stack)


def strip_tolerance(strip: Strip, axis: Axis) -> Length:
    """The deviation the strip's depth bears: that of the parts as deep as the strip."""
    finest = NO_LIMIT
    for slot, _ in strip.slots:
        first = slot.stack[0]
        if len(slot.stack) == 1 and first.along(axis) == strip.depth:
            finest = min(finest, first.tolerance(axis))
    return finest
