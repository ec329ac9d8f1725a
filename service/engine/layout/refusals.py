"""Why a part can be cut from no stock piece, in words a planner understands.

Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from service.engine.layout import rules
from service.engine.layout.ends import strip_lengths, without_ends
from service.engine.layout.job import Job
from service.engine.layout.kinds import Kind, Variant, kinds_of
from service.engine.layout.patterns import Filler
from service.engine.layout.rules import Piece
from service.engine.layout.shapes import Slot, Strip
from service.engine.layout.stock import StockType
from service.engine.layout.tree import Builder, Region, stages_of
from service.engine.layout.walk import walk
from service.engine.order import Part, Tolerance, ToleranceClass
from service.engine.plan import Axis, Node, leaves
from service.engine.quantities import Length, show_mm
from service.engine.tolerance import CLASSES

AXES: tuple[Axis, Axis] = ("y", "x")


@dataclass(frozen=True, slots=True)
class Refused:
    """A reason under its code."""

    code: str
    reason: str


def alone(builder: Builder, kind: Kind, stock: StockType, stages: int) -> Node | None:
    """A layout with a single part of that kind, if this stock allows for one."""
    for v in kind.variants:
        if v.dx > stock.length or v.dy > stock.width:
            continue
        for axis in AXES:
            node = one_part(builder, v, stock.piece, axis, stages)
            if node is not None:
                return node
            if stages == 1 and (node := _one_strip(builder, v, stock.piece, axis)) is not None:
                return node
    return None


def _one_strip(builder: Builder, v: Variant, piece: Piece, axis: Axis) -> Node | None:
    """That part as a strip of a sheet whose ends are cut off first."""
    for length in strip_lengths(builder.machine, piece, axis, [v], builder.trim, builder.offcut_min):
        strip = Strip(v.along(axis), ((Slot.of(length, (v,), 1), 1),), 1, ((v.kind, 1),))

        def filled(region: Region, strip: Strip = strip) -> Node | None:
            caps = [0] * len(builder.kinds)
            caps[v.kind] = 1
            return builder.carry_out(region.piece, axis, 1, [strip], caps, region)

        node = without_ends(builder, piece, axis, length, filled)
        if node is not None and _can_be_cut(builder, node, piece, 1):
            return node
    return None


def one_part(builder: Builder, v: Variant, piece: Piece, axis: Axis, stages: int) -> Node | None:
    """That part in the near corner, the piece cut along `axis` first; None when it cannot be cut."""
    across: Axis = "x" if axis == "y" else "y"
    slot = Slot.of(v.along(across), (v,), 1)
    strip = Strip(v.along(axis), ((slot, 1),), 1, ((v.kind, 1),))
    caps = [0] * len(builder.kinds)
    caps[v.kind] = 1
    node = builder.carry_out(piece, axis, stages, [strip], caps)
    return node if node is not None and _can_be_cut(builder, node, piece, stages) else None


def _can_be_cut(builder: Builder, node: Node, piece: Piece, stages: int) -> bool:
    """Whether a layout holds a part and the machine can cut it in so many levels."""
    if stages_of(node) > stages or not any(leaf.kind == "part" for leaf in leaves(node)):
        return False
    walked = walk(builder.machine, node, piece, builder.parts, builder.trim, builder.filler.limit)
    return not isinstance(walked, str)


def why_not(
    filler: Filler, kind: Kind, types: Sequence[StockType], stages: int, cutting_length: Length
) -> Refused:
    """The reason why no stock piece gives a single part of that kind."""
    fits: list[tuple[StockType, Variant]] = [
        (stock, v) for stock in types for v in kind.variants if v.dx <= stock.length and v.dy <= stock.width
    ]
    size = f"{show_mm(kind.length)} × {show_mm(kind.width)} mm"
    if not types:
        return Refused("no-stock-of-material", "there is no stock of this material and thickness")
    if not fits:
        turned = "" if len(kind.variants) > 1 or kind.length == kind.width else " as its grain must lie"
        return Refused("larger-than-stock", f"{size} fits on no piece of stock{turned}; {_roomiest(types)}")
    roomy = [(stock, v) for stock, v in fits if _room_for_trims(filler, stock, v)]
    if not roomy:
        return Refused(
            "larger-than-stock",
            f"{size} fits only before the mill edges are trimmed off "
            f"({show_mm(rules.trim_depth(filler.machine, filler.trim))} mm at the near end, "
            f"at least {show_mm(filler.trim)} mm at the far end)",
        )
    notes: list[tuple[str, str]] = []
    for stock, v in roomy:
        for axis in AXES:
            notes.append(_refusal(filler, stock, v, axis, stages, cutting_length))
    order = {"over-force": 0, "no-gauging": 1, "too-many-stages": 2, "over-cutting-length": 3}
    codes = {code for code, _ in notes}
    # The mildest obstacle is the one a planner can do something about.
    for code in sorted(codes, key=lambda c: (order.get(c, 9), c)):
        return Refused(code, f"{size}: " + next(reason for c, reason in notes if c == code))
    return Refused("no-gauging", f"{size} cannot be separated on this machine")


def class_that_would_do(job: Job, parts: Sequence[Part], types: Sequence[StockType]) -> ToleranceClass | None:
    """The finest general tolerance class, wider than that of these equal parts, with which they can be cut.

    None where no class helps, and where a part has limits of its own, which are not a class.
    """
    if any(part.tolerance.plus is not None or part.tolerance.minus is not None for part in parts):
        return None
    finest = min(CLASSES.index(part.tolerance.tolerance_class) for part in parts)
    for wider in CLASSES[finest + 1 :]:
        changed = tuple(replace(part, tolerance=Tolerance(wider)) for part in parts[:1])
        kinds = kinds_of(changed)
        filler = Filler(job.machine, job.options.trim, job.longest, kinds)
        builder = Builder(filler, kinds, {part.ref: part for part in changed}, job.options.offcut_min)
        if any(alone(builder, kinds[0], stock, job.options.max_stages) is not None for stock in types):
            return wider
    return None


def _roomiest(types: Sequence[StockType]) -> str:
    """The longest and the widest piece there is, in words."""
    longest = max(types, key=lambda one: (one.length, one.width))
    widest = max(types, key=lambda one: (one.width, one.length))
    words = f"the longest is {show_mm(longest.length)} × {show_mm(longest.width)} mm"
    if widest.width == longest.width:
        return words
    return f"{words}, the widest {show_mm(widest.length)} × {show_mm(widest.width)} mm"


def _room_for_trims(filler: Filler, stock: StockType, v: Variant) -> bool:
    for axis in AXES:
        extent = stock.piece.along(axis)
        start = rules.trim_depth(filler.machine, filler.trim) if extent.near_mill else 0
        end = max(filler.trim, 1) if extent.far_mill else 0
        if v.along(axis) + start + end > extent.size:
            return False
    return True


def _refusal(
    filler: Filler, stock: StockType, v: Variant, axis: Axis, stages: int, cutting_length: Length
) -> tuple[str, str]:
    """Follow the cuts of a single part and tell the first that is refused."""
    machine, trim = filler.machine, filler.trim
    across: Axis = "x" if axis == "y" else "y"
    breadth = stock.piece.across(axis).size
    levels = 0
    for way, blade in ((axis, breadth), (across, v.along(axis))):
        extent = stock.piece.along(way)
        size = v.along(way)
        start = rules.trim_depth(machine, trim) if extent.near_mill else 0
        rest = extent.size - start - size
        if start == 0 and rest == 0 and extent.spread <= v.tolerance(way):
            continue
        levels += 1
        refused = rules.cross_ok(machine, blade, filler.limit)
        if refused is not None:
            if blade <= cutting_length and blade > filler.limit:
                return "over-force", refused + " with the force this machine has"
            return ("over-cutting-length" if blade > cutting_length else "no-gauging"), refused
        rows = ([start] if start else []) + [size] + ([rest] if rest else [])
        flags = ([False] if start else []) + [True] + ([False] if rest else [])
        made = rules.level(
            machine,
            extent,
            tuple(rows),
            tuple(v.tolerance(way) if flag else rules.NO_LIMIT for flag in flags),
            tuple(flags),
            trim,
        )
        if isinstance(made, str):
            return "no-gauging", made
    if levels > stages:
        allowed = f"{stages} is allowed" if stages == 1 else f"{stages} are allowed"
        ends = stages == 1 and stock.piece.x.far_mill and stock.piece.y.far_mill
        why = "; strips are as long as the sheet, less a trim at each end" if ends else ""
        return "too-many-stages", f"it needs {levels} stages of cuts, {allowed}{why}"
    return "no-gauging", "it cannot be separated on this machine"
