"""The program, cut by cut: pieces are taken up, cut, and laid down again under their names."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field, replace

from service.engine.verifier.facts import Cut, Goes, Plan, Sheet, Stock
from service.engine.verifier.faults import Faults, shown
from service.engine.verifier.limits import check_limits, check_strength, error_of
from service.engine.verifier.lots import Floor, Lot, Way, mixed
from service.engine.verifier.tolerances import aimed, allowed_at

_OTHER = {"near": "far", "far": "near"}
_AXES = ("x", "y")
_TURNED = ("none", "half", "quarter")
"""From the least to the most trouble."""
_RANK = {"trim": 0, "scrap": 1, "offcut": 2, "piece": 3, "part": 4}

Ending = tuple[str, str | None, int, int]
"""Kind, ref and the two sizes of something that is cut no further."""


@dataclass(slots=True)
class Replay:
    """The state of the floor while the program is replayed.

    `taken` counts stock pieces by layout, `parts` finished parts by ref, `ended` everything that is
    cut no further by layout, `worst` the ± of each part's dimensions.
    """

    plan: Plan
    faults: Faults
    floor: Floor = field(default_factory=Floor)
    taken: Counter[int] = field(default_factory=Counter)
    parts: Counter[str] = field(default_factory=Counter)
    ended: dict[int, Counter[Ending]] = field(default_factory=dict)
    cut_length: int = 0
    most_waiting: int = 0
    worst: dict[tuple[str, str], int] = field(default_factory=dict)
    _sheet_names: dict[str, tuple[int, int]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for sheet in self.plan.sheets.values():
            self._stand_ready(sheet)

    def _stand_ready(self, sheet: Sheet) -> None:
        """Put the stock of a layout on the floor: under its number, to be taken in any portions."""
        where = f"/layouts/{list(self.plan.sheets).index(sheet.number)}"
        item = self.plan.stock.get(sheet.stock_ref)
        self.ended[sheet.number] = Counter()
        if item is None:
            self.faults.add("stock", f"{where}/stock_ref", f"there is no stock {sheet.stock_ref!r}")
            return
        self.faults.unless(
            item.material == sheet.material and item.thickness == sheet.thickness,
            "material",
            where,
            f"the layout says {sheet.material} {shown(sheet.thickness)} mm, "
            f"the stock is {item.material} {shown(item.thickness)} mm",
        )
        lot = _as_delivered(sheet, item)
        if sheet.tree.axis is None:
            # A piece that is wanted as it is: no step takes it up.
            box = sheet.tree.box
            whole = Goes(box.kind, box.ref, item.length, item.width, sheet.repeat)
            self.taken[sheet.number] += sheet.repeat
            self._end(whole, lot, sheet.repeat, f"{where}/tree", uncut=True)

    def _take(self, step: Cut, sheet: Sheet, where: str) -> list[tuple[Lot, int]]:
        number = str(sheet.number)
        item = self.plan.stock.get(sheet.stock_ref)
        found: list[tuple[Lot, int]] = []
        if item is not None and step.piece == number:
            found = [(_as_delivered(sheet, item), step.pieces)]
            self.taken[sheet.number] += step.pieces
        elif item is not None and step.piece.startswith(f"{number}.") and step.piece not in self._sheet_names:
            # One sheet after the other: 1.1, 1.2, … each of them one piece, taken once.
            place = step.piece[len(number) + 1 :]
            if place.isascii() and place.isdigit() and 1 <= len(place) <= 9:
                self._sheet_names[step.piece] = (sheet.number, int(place))
                self.faults.unless(
                    step.pieces == 1 and 1 <= int(place) <= sheet.repeat,
                    "piece-count",
                    f"{where}/piece",
                    f"{step.piece!r} is one of the {sheet.repeat} pieces of layout {number}",
                )
                found = [(_as_delivered(sheet, item), step.pieces)]
                self.taken[sheet.number] += step.pieces
        if not found:
            found = self.floor.take(step.piece, step.pieces)
        lacking = step.pieces - sum(count for _, count in found)
        if lacking > 0:
            self.faults.add(
                "piece-count",
                f"{where}/pieces",
                f"{lacking} of {step.pieces} pieces {step.piece!r} are not there to be taken up",
            )
            found.append((self._stand_in(step, sheet), lacking))
        for lot, _ in found:
            self.faults.unless(
                lot.layout == step.layout,
                "piece-layout",
                f"{where}/layout",
                f"{step.piece!r} comes from layout {lot.layout}",
            )
        return found

    def _stand_in(self, step: Cut, sheet: Sheet) -> Lot:
        """A faultless piece in place of one that is not there, so that the rest can be judged."""
        sizes = {step.axis: step.depth, "y" if step.axis == "x" else "x": step.along_blade}
        state = step.edge_state == "mill"
        ways = {
            axis: Way(
                size,
                axis == step.axis and state and step.edge_end == "near",
                axis == step.axis and state and step.edge_end == "far",
                0,
            )
            for axis, size in sizes.items()
        }
        return Lot(sheet.number, sheet.stock_ref, ways["x"], ways["y"])

    def take_step(self, index: int, step: Cut) -> None:
        """Make the cuts of one step."""
        where, faults, shear = f"/program/{index}", self.faults, self.plan.shear
        faults.unless(
            step.number == index + 1,
            "step-number",
            f"{where}/step",
            f"step {index + 1} is numbered {step.number}",
        )
        check_limits(shear, step, where, faults)
        sheet = self.plan.sheets.get(step.layout)
        if sheet is None:
            faults.add("layout", f"{where}/layout", f"there is no layout {step.layout}")
            return
        item = self.plan.stock.get(sheet.stock_ref)
        if item is not None:
            check_strength(self.plan, item, step, where, faults)
        lots = self._take(step, sheet, where)
        waiting, most = len(self.floor.left()), self.plan.wishes.open_stacks
        self.most_waiting = max(self.most_waiting, waiting)
        faults.unless(
            most is None or waiting <= most,
            "open-stacks",
            where,
            f"{waiting} stacks of pieces wait while this step is made; at most {most} may",
        )
        self.cut_length += step.along_blade * step.pieces * step.repeat
        turns = []
        for lot, _ in lots:
            self._check_lie(step, lot, where)
            turns.append(_turn_for(lot, step))
        needed = max(turns, key=lambda turn: _TURNED.index(turn or "none"))
        faults.unless(
            needed is None or step.turn == needed,
            "turn",
            f"{where}/turn",
            f"the piece lies so that the turn is {needed!r}, not {step.turn!r}",
        )
        self._cut(step, lots, where)

    def _check_lie(self, step: Cut, lot: Lot, where: str) -> None:
        depth, across = lot.way(step.axis), lot.way("y" if step.axis == "x" else "x")
        self.faults.unless(
            depth.size == step.depth and across.size == step.along_blade,
            "piece-size",
            where,
            f"{step.piece!r} is {shown(across.size)} mm along the blade and {shown(depth.size)} mm deep, "
            f"not {shown(step.along_blade)} and {shown(step.depth)}",
        )
        mill = depth.mill_at(step.edge_end)
        # With no trim asked for, a mill edge counts as good and may be called either.
        free = mill and self.plan.wishes.trim == 0
        self.faults.unless(
            free or mill == (step.edge_state == "mill"),
            "edge-state",
            f"{where}/edge_state",
            f"the {step.edge_end} edge of {step.piece!r} is a {'mill' if mill else 'cut'} edge",
        )
        if self.plan.wishes.trim > 0:
            self.faults.unless(
                not (step.squared and across.near_mill and across.far_mill),
                "squared",
                f"{where}/squared",
                f"{step.piece!r} has no cut edge to hold against the squaring arm",
            )

    def _cut(self, step: Cut, lots: list[tuple[Lot, int]], where: str) -> None:
        shear, faults, axis = self.plan.shear, self.faults, step.axis
        accuracy = error_of(self.plan, step)
        if step.edge_state == "mill":
            # A mill edge is not straight: what the trim is meant to take off is how far one can be out.
            accuracy += self.plan.wishes.trim
        drop_measured = step.measured == "drop"
        drop_end = step.edge_end if drop_measured else _OTHER[step.edge_end]
        drop_size = step.gauge if drop_measured else step.depth - step.gauge
        rest_size = step.depth - step.repeat * drop_size
        if drop_size <= 0 or rest_size <= 0:
            faults.add(
                "cut-size",
                f"{where}/gauge_mm",
                f"{step.repeat} cuts at {shown(step.gauge)} mm do not go into {shown(step.depth)} mm",
            )
        faults.unless(
            drop_size >= shear.smallest_drop,
            "drop-small",
            where,
            f"a drop of {shown(drop_size)} mm is narrower than {shown(shear.smallest_drop)} mm",
        )
        faults.unless(
            step.gauging == "back gauge" or shear.gauge_clears or drop_size <= shear.back_gauge.high,
            "gauge-in-the-way",
            where,
            f"a drop of {shown(drop_size)} mm would not get past the back gauge, which goes back to "
            f"{shown(shear.back_gauge.high)} mm",
        )
        faults.unless(
            rest_size >= shear.clamping_depth,
            "not-held",
            where,
            f"after the last cut {shown(rest_size)} mm stay under the hold-downs; "
            f"{shown(shear.clamping_depth)} mm are needed",
        )
        drop_kinds, rest_kinds = ({one.kind for one in side} for side in (step.drops, step.remainders))
        drops: list[tuple[Lot, int]] = []
        rests: list[tuple[Lot, int]] = []
        for lot, count in mixed(lots):
            way = lot.way(axis)
            carried = replace(lot, back=(axis, drop_end))
            runs = lot.runs + (lot.last != axis)
            counted = replace(carried, runs=runs, last=axis)
            drop_base = carried if _only_an_end(rest_kinds, lot, way, _OTHER[drop_end]) else counted
            rest_base = carried if _only_an_end(drop_kinds, lot, way, drop_end) else counted
            drop_spread = accuracy if drop_measured else way.spread + accuracy
            rest_spread = way.spread + step.repeat * accuracy if drop_measured else accuracy
            drop_worst = accuracy if drop_measured else way.worst + accuracy
            rest_worst = way.worst + step.repeat * accuracy if drop_measured else accuracy
            self._check_trim(way, drop_end, drop_size, rest_size, where)
            first = way.cut_off(drop_end, drop_size, drop_spread, drop_worst, fresh=False)
            others = way.cut_off(drop_end, drop_size, drop_spread, drop_worst, fresh=True)
            rest = way.kept(drop_end, rest_size, rest_spread, rest_worst)
            drops.append((drop_base.with_way(axis, first), count))
            if step.repeat > 1:
                drops.append((drop_base.with_way(axis, others), count * (step.repeat - 1)))
            rests.append((rest_base.with_way(axis, rest), count))
        self._lay_down(step.drops, drops, step.repeat * step.pieces, f"{where}/drop_to")
        self._lay_down(step.remainders, rests, step.pieces, f"{where}/remainder_to")

    def _check_trim(self, way: Way, drop_end: str, drop_size: int, rest_size: int, where: str) -> None:
        """A new edge must lie at least the trim away from a mill edge, else it is not a good one."""
        trim = self.plan.wishes.trim
        for mill, size, side in (
            (way.mill_at(drop_end), drop_size, "drop"),
            (way.mill_at(_OTHER[drop_end]), rest_size, "remainder"),
        ):
            self.faults.unless(
                not mill or size >= trim,
                "trim-short",
                where,
                f"the {side} takes only {shown(size)} mm off a mill edge; {shown(trim)} mm are wanted",
            )

    def _lay_down(self, goes: tuple[Goes, ...], made: list[tuple[Lot, int]], total: int, where: str) -> None:
        stated = sum(one.count for one in goes)
        self.faults.unless(
            stated == total, "outcome-count", where, f"{total} pieces are made here, {stated} are named"
        )
        # Where several things become of equal pieces, the worst pieces go to the least demanding use.
        worst_first = sorted(made, key=lambda lot: (-lot[0].mill_edges(), -lot[0].x.spread - lot[0].y.spread))
        order = sorted(
            range(len(goes)), key=lambda index: (_RANK[goes[index].kind], -self._margin(goes[index]))
        )
        waiting = list(worst_first)
        for index in order:
            one, at = goes[index], f"{where}/{index}"
            wanted = one.count
            while wanted > 0 and waiting:
                lot, count = waiting[0]
                some = min(count, wanted)
                wanted -= some
                waiting[0] = (lot, count - some)
                if count == some:
                    waiting.pop(0)
                self._goes(one, lot, some, at)
            if wanted > 0 and made:
                self._goes(one, worst_first[-1][0], wanted, at)

    def _margin(self, goes: Goes) -> int:
        part = self.plan.wanted.get(goes.ref or "") if goes.kind == "part" else None
        return 0 if part is None else min(allowed_at(part, goes.dx), allowed_at(part, goes.dy))

    def _goes(self, goes: Goes, lot: Lot, count: int, where: str) -> None:
        self.faults.unless(
            (goes.dx, goes.dy) == (lot.x.size, lot.y.size),
            "outcome-size",
            where,
            f"what comes about is {shown(lot.x.size)} × {shown(lot.y.size)} mm, "
            f"not {shown(goes.dx)} × {shown(goes.dy)}",
        )
        if goes.kind != "piece":
            self._end(goes, lot, count, where)
            return
        name = goes.ref or ""
        self.faults.unless(
            not self._names_stock(name), "piece-name", where, f"{name!r} is the name of a stock piece"
        )
        self.floor.put(name, lot, count)

    def _names_stock(self, name: str) -> bool:
        number, dot, place = name.partition(".")
        known = number.isascii() and number.isdigit() and len(number) <= 9 and int(number) in self.plan.sheets
        return known and (not dot or (place.isascii() and place.isdigit()))

    def _end(self, goes: Goes, lot: Lot, count: int, where: str, *, uncut: bool = False) -> None:
        ending: Ending = (goes.kind, goes.ref, goes.dx, goes.dy)
        self.ended.setdefault(lot.layout, Counter())[ending] += count
        if goes.kind == "part":
            self._check_part(goes, lot, count, where)
        elif uncut:
            self.faults.add("left-over", where, "a stock piece is used though nothing is cut from it")
        else:
            self._check_leftover(goes, lot, where)

    def _check_leftover(self, goes: Goes, lot: Lot, where: str) -> None:
        larger, smaller = self.plan.wishes.offcut_min
        keep = max(goes.dx, goes.dy) >= larger and min(goes.dx, goes.dy) >= smaller
        size = f"{shown(goes.dx)} × {shown(goes.dy)} mm"
        if goes.kind == "offcut":
            self.faults.unless(keep, "offcut-small", where, f"{size} is below the size to keep")
        elif goes.kind == "scrap":
            self.faults.unless(not keep, "offcut-lost", where, f"{size} is large enough to keep as an offcut")
        else:
            self.faults.unless(
                lot.mill_edges() > 0 and self.plan.wishes.trim > 0,
                "not-a-trim",
                where,
                f"{size} has no mill edge that had to be trimmed",
            )

    def _check_part(self, goes: Goes, lot: Lot, count: int, where: str) -> None:
        faults, part = self.faults, self.plan.wanted.get(goes.ref or "")
        if part is None:
            faults.add("part-unknown", where, f"nobody ordered {goes.ref!r}")
            return
        self.parts[part.ref] += count
        item = self.plan.stock.get(lot.stock_ref)
        if item is not None:
            faults.unless(
                (item.material, item.thickness) == (part.material, part.thickness),
                "material",
                where,
                f"{part.ref!r} is wanted from {part.material} {shown(part.thickness)} mm",
            )
        length, width = aimed(part)
        along = (goes.dx, goes.dy) == (length, width)
        across = (goes.dy, goes.dx) == (length, width)
        faults.unless(
            along or across,
            "part-size",
            where,
            f"{part.ref!r} is cut for {shown(length)} × {shown(width)} mm, "
            f"not {shown(goes.dx)} × {shown(goes.dy)}",
        )
        faults.unless(
            (along or part.grain != "along") and (across or part.grain != "across"),
            "grain",
            where,
            f"the length of {part.ref!r} must lie {part.grain} the rolling direction",
        )
        if self.plan.wishes.trim > 0:
            faults.unless(
                lot.mill_edges() == 0, "mill-edge", where, f"{part.ref!r} is bounded by a mill edge"
            )
        lengthwise = "x" if along else "y"
        for axis in _AXES:
            way = lot.way(axis)
            dimension = (part.ref, "length" if axis == lengthwise else "width")
            self.worst[dimension] = max(way.worst, self.worst.get(dimension, 0))
            faults.unless(
                way.spread <= allowed_at(part, way.size),
                "tolerance",
                where,
                f"{part.ref!r}: {shown(way.size)} mm in {axis} comes out to ±{shown(way.spread)}, "
                f"allowed is ±{shown(allowed_at(part, way.size))}",
            )
        faults.unless(
            lot.runs <= self.plan.wishes.max_stages,
            "stages",
            where,
            f"{part.ref!r} takes {lot.runs} directions of cutting; {self.plan.wishes.max_stages} are allowed",
        )

    def close(self) -> None:
        """After the last step: nothing waits any more, and all the stock of the layouts was taken."""
        for name, count in self.floor.left().items():
            self.faults.add("left-over", "/program", f"{count} pieces {name!r} are never taken up")
        used: Counter[str] = Counter()
        for sheet in self.plan.sheets.values():
            taken = self.taken[sheet.number]
            used[sheet.stock_ref] += max(taken, sheet.repeat)
            self.faults.unless(
                taken == sheet.repeat,
                "sheet-count",
                "/program",
                f"layout {sheet.number} is for {sheet.repeat} pieces, the program takes {taken}",
            )
        _check_stock(self.plan, used, self.faults)


def _check_stock(plan: Plan, used: Counter[str], faults: Faults) -> None:
    for ref, count in used.items():
        item = plan.stock.get(ref)
        if item is not None:
            faults.unless(
                count <= item.quantity,
                "over-stock",
                "/layouts",
                f"{count} pieces of {ref!r} are used; there are {item.quantity}",
            )


def _as_delivered(sheet: Sheet, item: Stock) -> Lot:
    mill = item.edges == "mill"
    return Lot(
        layout=sheet.number,
        stock_ref=item.ref,
        x=Way(item.length, mill, mill, item.oversize, item.oversize),
        y=Way(item.width, mill, mill, item.oversize, item.oversize),
    )


def _only_an_end(kinds: set[str], lot: Lot, way: Way, end: str) -> bool:
    """Whether what comes off at an end of a piece is trim, or scrap with the mill edge of a whole sheet."""
    return kinds == {"trim"} or (kinds == {"scrap"} and lot.runs == 0 and way.mill_at(end))


def _turn_for(lot: Lot, step: Cut) -> str | None:
    """How the piece has to be turned; None when nothing is known of how it lay."""
    if lot.back is None:
        return None
    back = step.edge_end if step.measured == "drop" else _OTHER[step.edge_end]
    if lot.back[0] != step.axis:
        return "quarter"
    return "none" if lot.back[1] == back else "half"
