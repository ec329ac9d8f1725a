"""Uses of patterns that a dive lets stand, and what is left to do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from service.engine.layout.context import Context, Pattern
from service.engine.layout.sketch import Sketch


@dataclass(slots=True)
class Fixed:
    """Uses of patterns that stand, what they cost, and what is left of demand and stock."""

    rows: list[tuple[Pattern, int]]
    demand: list[int]
    stock: list[int]
    cost: int

    @staticmethod
    def nothing(context: Context) -> Fixed:
        """Where a dive begins."""
        return Fixed([], list(context.demand), [t.quantity for t in context.types], 0)

    def copy(self) -> Fixed:
        """The same, to go on from in another way."""
        return Fixed(list(self.rows), list(self.demand), list(self.stock), self.cost)

    def take(self, pattern: Pattern, repeat: int, cost: int) -> None:
        """Let a pattern stand so many times."""
        self.rows.append((pattern, repeat))
        self.stock[pattern.stock] -= repeat
        self.cost += cost * repeat
        for kind, n in pattern.use:
            self.demand[kind] -= n * repeat

    def room_for(self, pattern: Pattern | Sketch) -> int:
        """How often a pattern can be used without cutting more than is wanted."""
        return min([self.stock[pattern.stock], *(self.demand[kind] // n for kind, n in pattern.use)])

    def wanted_of(self, pattern: Pattern | Sketch) -> dict[int, int]:
        """What a pattern gives that is still wanted, by kind."""
        return {kind: min(n, self.demand[kind]) for kind, n in pattern.use if self.demand[kind]}

    def without(self, uses: dict[int, int]) -> list[int]:
        """What is wanted when these parts are cut."""
        return [n - uses.get(kind, 0) for kind, n in enumerate(self.demand)]


def area_of(uses: dict[int, int], areas: Sequence[int]) -> int:
    """The area of parts, by kind and number."""
    return sum([areas[kind] * n for kind, n in uses.items()])
