"""Pieces on the floor: what they measure, how their edges are, and how they came about."""

from __future__ import annotations

from dataclasses import dataclass, field, replace


@dataclass(frozen=True, slots=True)
class Way:
    """One direction of a piece.

    `near_mill`, `far_mill` tell which of its two ends is still as the mill left it; `spread` is how
    far the true size may lie from the nominal one, and `worst` the same for the worst of the pieces
    that were cut together with it, as nobody can tell them apart.
    """

    size: int
    near_mill: bool
    far_mill: bool
    spread: int
    worst: int = 0

    def mill_at(self, end: str) -> bool:
        """Whether that end is a mill edge."""
        return self.near_mill if end == "near" else self.far_mill

    def cut_off(self, end: str, size: int, spread: int, worst: int, *, fresh: bool) -> Way:
        """What is cut off at an `end`: its inner edge is new, and its outer one too when `fresh`."""
        outer = not fresh and self.mill_at(end)
        return Way(size, outer and end == "near", outer and end == "far", spread, worst)

    def kept(self, end: str, size: int, spread: int, worst: int) -> Way:
        """What is left after cutting off at an `end`."""
        return Way(size, self.near_mill and end != "near", self.far_mill and end != "far", spread, worst)


@dataclass(frozen=True, slots=True)
class Lot:
    """Pieces of one kind and one history.

    `back` is how they lay last: the direction in depth and the end of it that was at the back; None
    for stock. `runs` counts the directions of cutting so far, `last` is the latest; trims do not count,
    nor does scrap off the mill edge of a whole sheet.
    """

    layout: int
    stock_ref: str
    x: Way
    y: Way
    back: tuple[str, str] | None = None
    runs: int = 0
    last: str | None = None

    def way(self, axis: str) -> Way:
        """The direction of that axis."""
        return self.x if axis == "x" else self.y

    def with_way(self, axis: str, way: Way) -> Lot:
        """The same with another measure in one direction."""
        return replace(self, x=way) if axis == "x" else replace(self, y=way)

    def mill_edges(self) -> int:
        """How many of the four edges are mill edges."""
        return self.x.near_mill + self.x.far_mill + self.y.near_mill + self.y.far_mill


def mixed(lots: list[tuple[Lot, int]]) -> list[tuple[Lot, int]]:
    """Lots that are cut together: any piece of them may be the worst in either direction."""
    x = max((lot.x.worst for lot, _ in lots), default=0)
    y = max((lot.y.worst for lot, _ in lots), default=0)
    return [
        (replace(lot, x=replace(lot.x, worst=x), y=replace(lot.y, worst=y)), count) for lot, count in lots
    ]


@dataclass(slots=True)
class Floor:
    """Pieces that wait to be taken up, by name."""

    _lots: dict[str, dict[Lot, int]] = field(default_factory=dict)

    def put(self, name: str, lot: Lot, count: int) -> None:
        """Lay pieces down under a name."""
        if count > 0:
            lots = self._lots.setdefault(name, {})
            lots[lot] = lots.get(lot, 0) + count

    def take(self, name: str, count: int) -> list[tuple[Lot, int]]:
        """Take up to `count` pieces, those laid down first before the others."""
        lots = self._lots.get(name, {})
        taken: list[tuple[Lot, int]] = []
        for lot in list(lots):
            if count <= 0:
                break
            some = min(count, lots[lot])
            taken.append((lot, some))
            count -= some
            lots[lot] -= some
            if not lots[lot]:
                del lots[lot]
        return taken

    def left(self) -> dict[str, int]:
        """What nobody took up."""
        return {name: sum(lots.values()) for name, lots in self._lots.items() if lots}
