"""Layouts: proper guillotine trees inside their stock, in step with the program."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping

from service.engine.verifier.facts import Box, Plan, Sheet, Tree
from service.engine.verifier.faults import Faults, shown
from service.engine.verifier.replay import Ending
from service.engine.verifier.tolerances import aimed


def check_layouts(plan: Plan, ended: Mapping[int, Counter[Ending]], faults: Faults) -> None:
    """Each layout by itself, and its leaves against what the program makes of it."""
    for index, sheet in enumerate(plan.sheets.values()):
        where = f"/layouts/{index}"
        faults.unless(
            sheet.number == index + 1,
            "layout-number",
            f"{where}/number",
            f"layout {index + 1} is numbered {sheet.number}",
        )
        item = plan.stock.get(sheet.stock_ref)
        root = sheet.tree.box
        if item is not None:
            faults.unless(
                (root.x, root.y, root.dx, root.dy) == (0, 0, item.length, item.width),
                "tree-root",
                f"{where}/tree",
                f"the whole piece is {shown(item.length)} × {shown(item.width)} mm from its corner",
            )
        for node in _nodes(sheet.tree):
            _check_node(node, faults)
        leaves = [node.box for node in _nodes(sheet.tree) if node.axis is None]
        _check_rotated(plan, leaves, f"{where}/tree", faults)
        _check_placements(sheet, leaves, where, faults)
        wanted: Counter[Ending] = Counter()
        for leaf in leaves:
            wanted[leaf.kind, leaf.ref, leaf.dx, leaf.dy] += sheet.repeat
        _compare(wanted, ended.get(sheet.number, Counter()), where, faults)


def _nodes(tree: Tree) -> Iterator[Tree]:
    yield tree
    for child in tree.children:
        yield from _nodes(child)


def _check_node(node: Tree, faults: Faults) -> None:
    if node.axis is None:
        return
    along_x = node.axis == "x"
    box = node.box
    place = box.x if along_x else box.y
    for child in sorted((one.box for one in node.children), key=lambda one: (one.x, one.y)):
        start, size = (child.x, child.dx) if along_x else (child.y, child.dy)
        across = (child.y, child.dy) == (box.y, box.dy) if along_x else (child.x, child.dx) == (box.x, box.dx)
        faults.unless(
            start == place and across,
            "tree-split",
            node.where,
            f"a child at {shown(child.x)}, {shown(child.y)} leaves a gap, laps over, or does not "
            "reach from edge to edge",
        )
        place = start + size
    end = box.x + box.dx if along_x else box.y + box.dy
    faults.unless(place == end, "tree-split", node.where, "the children do not fill the split")


def _check_rotated(plan: Plan, leaves: list[Box], where: str, faults: Faults) -> None:
    for leaf in leaves:
        part = plan.wanted.get(leaf.ref or "")
        if leaf.kind != "part" or part is None:
            continue
        length, width = aimed(part)
        lies = (width, length) if leaf.rotated else (length, width)
        faults.unless(
            (leaf.dx, leaf.dy) == lies,
            "rotated",
            where,
            f"{part.ref!r} at {shown(leaf.x)}, {shown(leaf.y)} does not measure what `rotated` says",
        )


def _check_placements(sheet: Sheet, leaves: list[Box], where: str, faults: Faults) -> None:
    if sheet.placements is None:
        return
    faults.unless(
        Counter(sheet.placements) == Counter(leaves),
        "placements",
        f"{where}/placements",
        "the placements are not the leaves of the tree",
    )
    root = sheet.tree.box
    open_boxes: list[Box] = []
    for box in sorted(sheet.placements, key=lambda one: (one.x, one.y)):
        faults.unless(
            box.x + box.dx <= root.dx and box.y + box.dy <= root.dy,
            "outside",
            f"{where}/placements",
            f"what lies at {shown(box.x)}, {shown(box.y)} sticks out of the piece",
        )
        # Sweep along x: only boxes that reach beyond this one's beginning can lie over it.
        open_boxes = [other for other in open_boxes if other.x + other.dx > box.x]
        for other in open_boxes:
            faults.unless(
                other.y + other.dy <= box.y or box.y + box.dy <= other.y,
                "overlap",
                f"{where}/placements",
                f"what lies at {shown(box.x)}, {shown(box.y)} overlaps what lies at "
                f"{shown(other.x)}, {shown(other.y)}",
            )
        open_boxes.append(box)


def _compare(wanted: Counter[Ending], made: Counter[Ending], where: str, faults: Faults) -> None:
    for ending in sorted({*wanted, *made}, key=lambda one: (one[0], one[1] or "", one[2], one[3])):
        kind, ref, dx, dy = ending
        faults.unless(
            wanted[ending] == made[ending],
            "layout-program",
            where,
            f"{kind} {ref or ''} {shown(dx)} × {shown(dy)} mm: {wanted[ending]} in the layout, "
            f"{made[ending]} by the program",
        )
