"""The cut program as text: for the terminal, for plain paper, and as rows for a table.

Lengths are shown in millimetres.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from fractions import Fraction
from typing import Final, TypeAlias

from service.drawing.steps import Page, lift_text, outcomes_text, page_of, step_lines, told
from service.drawing.words import (
    MARKS,
    counted,
    ends,
    lying_text,
    row,
    size_text,
    stock_text,
    thousands,
    wrapped,
)
from service.engine.findings import Finding
from service.engine.fingerprint import id_of
from service.engine.objectives import worth_of
from service.engine.order import Objective, Order
from service.engine.plan import CutPlan, Layout, Node, Step, leaves
from service.engine.quality.parts import tolerance_text
from service.engine.quantities import show_mm, to_mm

NARROWEST: Final = 60
"""Fewest columns in which a step can still be read."""

Cell: TypeAlias = str | int | float | bool | None


def program_text(
    plan: CutPlan, order: Order | None = None, *, width: int = 100, named: str | None = None
) -> str:
    """Write a plan so that an operator can cut from it.

    Parameters
    ----------
    plan
        The plan.
    order
        The order that it answers. With it the heads show what the gauge can be set to, pieces are
        marked with the heat number of their stock, and a longer search is proposed only if there is one.
    width
        Columns, at least :data:`NARROWEST`.
    named
        The id under which the plan is kept, where it is kept already.

    Returns
    -------
    Lines of at most `width` columns (a single longer word is not broken), ended by a newline.

    Raises
    ------
    ValueError
        When `width` is too small.
    """
    if width < NARROWEST:
        raise ValueError(f"a width of at least {NARROWEST} columns is wanted, not {width}")
    page = page_of(plan, order, width)
    lines = list(_head(plan, order, width, named or id_of(plan)))
    for layouts, steps in _blocks(plan):
        lines.extend(_block(layouts, steps, page))
    lines.extend(_unplaced(plan, width))
    lines.extend(_quality(plan, width))
    lines.extend(_remarks(plan.findings, "ABOUT THE PLAN", width))
    if plan.cautions:
        lines += ["", "CAUTIONS"]
        for caution in plan.cautions:
            lines.extend(wrapped(caution, width, "  - ", "    "))
    return "\n".join(line.rstrip() for line in lines) + "\n"


def step_text(plan: CutPlan, order: Order, number: int, *, width: int = 100, named: str | None = None) -> str:
    """One step of a plan, as in :func:`program_text`, with nothing left out that holds for all steps.

    Raises
    ------
    ValueError
        When the plan has no such step, or `width` is too small.
    """
    if width < NARROWEST:
        raise ValueError(f"a width of at least {NARROWEST} columns is wanted, not {width}")
    before: Step | None = None
    for step in plan.program:
        if step.number == number:
            lines = step_lines(step, before, page_of(plan, order, width), ())
            return "\n".join(line.rstrip() for line in lines).strip("\n") + "\n"
        before = step
    known = f"its steps are 1 to {len(plan.program)}"
    raise ValueError(f"plan {named or id_of(plan)} has no step {number}; {known}")


def not_planned(plan: CutPlan) -> str | None:
    """How much of the order is not planned; None when all of it is.

    Returns
    -------
    For example ``NOT PLANNED: 505 of 10 633 pieces``.
    """
    missing = sum(one.quantity for one in plan.unplaced)
    if not missing:
        return None
    return f"NOT PLANNED: {thousands(missing)} of {counted(missing + plan.summary.parts, 'piece')}"


def _head(plan: CutPlan, order: Order | None, width: int, named: str) -> Iterator[str]:
    summary = plan.summary
    yield ends(f"CUT PROGRAM  {plan.order_ref}", f"plan {named}", width)
    missing = not_planned(plan)
    if missing is not None:
        yield f"{missing}, see the end"
    yield ends(f"machine {plan.machine_id}", f"engine {plan.engine_version}", width)
    yield "=" * width
    if not plan.layouts:
        yield "Nothing could be planned; the reasons stand below."
        return
    yield from wrapped(
        f"Takes {stock_text(summary.sheets, summary.offcuts_used)} for {counted(summary.parts, 'part')}; "
        f"{summary.utilisation:.1%} of what is cut up becomes parts.",
        width,
    )
    if plan.bound.value is not None:
        yield from wrapped(_worth_text(plan.bound.value, plan, order), width)
    yield from wrapped(_bound_text(plan), width)
    if order is not None and order.options.objective in _CHOSEN_FOR:
        yield from wrapped(_CHOSEN_FOR[order.options.objective], width)
    elif order is not None and order.options.objective == "material" and summary.offcut_area_mm2:
        yield from wrapped(
            f"Offcuts of {_square_metres(summary.offcut_area_mm2)} m² are kept: of plans with the same "
            "sheets the one that keeps more is taken, even for more strokes and minutes.",
            width,
        )
    times = f"{counted(summary.strokes, 'stroke')}, {counted(summary.gauge_moves, 'gauge setting')}, "
    times += f"{counted(summary.turns, 'turn')}, {summary.cut_metres:.1f} m sheared, "
    times += f"about {summary.minutes:.0f} min"
    if summary.most_waiting:
        waits = "waits" if summary.most_waiting == 1 else "wait"
        times += f"; at most {counted(summary.most_waiting, 'stack')} of pieces {waits} at once"
    times += "."
    yield from wrapped(times, width)
    if plan.stopped_early:
        hopes = " and ".join(_hopes(plan, order))
        longer = f"; a longer one (--effort thorough, over HTTP options.effort) may {hopes}"
        if not hopes or (order is not None and order.options.effort == "thorough"):
            longer = ""
        yield from wrapped(f"The search was stopped before its end{longer}.", width)


_BETTERED: Final[dict[Objective, str]] = {
    "handling": "save handling",
    "time": "save time",
    "cost": "save time",
    "compare": "save time or handling",
}


def _hopes(plan: CutPlan, order: Order | None) -> Iterator[str]:
    """What a longer search may bring, and is not proved to be impossible."""
    if plan.bound.value is not None:
        if order is None or worth_of(plan.layouts, order.parts) < Fraction(str(plan.bound.value)):
            yield "find parts worth more"
        return
    if any(one.code == "stock-exhausted" for one in plan.unplaced):
        yield "find a place for more pieces"
    if plan.bound.gap_share > 0:
        yield "save material"
    elif order is not None and order.options.objective in _BETTERED:
        yield _BETTERED[order.options.objective]


def _worth_text(most: float, plan: CutPlan, order: Order | None) -> str:
    """What the chosen parts are worth, which the order tells, and what is proved about any choice."""
    if order is None:
        return f"No choice of parts from this stock is worth more than {most:.10g}."
    worth = worth_of(plan.layouts, order.parts)
    text = f"The parts are worth {float(worth):.10g}; no choice of parts from this stock is worth more"
    if Fraction(str(most)) <= worth:
        return f"{text}."
    below = 1 - float(worth / Fraction(str(most)))
    return f"{text} than {most:.10g}, so this one is at most {below:.1%} below the best."


_NOT_PROVED: Final = "the least of the plans that were tried; how near it is to the best is not proved."
_CHOSEN_FOR: Final[dict[Objective, str]] = {
    "handling": f"That is said of the material. Its handling is {_NOT_PROVED}",
    "time": f"That is said of the material. Its time is {_NOT_PROVED}",
    "cost": f"That is said of the material. Its cost of stock and time together is {_NOT_PROVED}",
    "compare": "That is said of the material. The plans are compared with each other in time and handling; "
    "how near they are to the best in these is not proved.",
}
_WIDE_GAP: Final = 0.2
"""Share above which the text says that a proof need not be near the truth."""


def _bound_text(plan: CutPlan) -> str:
    """What is proved about the material: the stock's cost where all of it is priced, else its area."""
    bound, summary = plan.bound, plan.summary
    whose = "the parts that are planned" if plan.unplaced else "these parts"
    paid = summary.material_cost
    # Where nothing need be paid, areas are compared.
    if bound.cost is not None and paid is not None and (bound.cost or not paid):
        takes, least = f"The stock costs {paid:.2f}", f"{bound.cost:.2f}"
    else:
        takes = f"The stock measures {_square_metres(summary.stock_area_mm2)} m²"
        least = f"{_square_metres(bound.area_mm2)} m²"
    if bound.gap_share <= 0:
        return f"{takes}; no plan for {whose} can do with less ({bound.method})."
    text = f"{takes}; no plan for {whose} can do with less than {least} ({bound.method}), "
    text += f"so this one is at most {bound.gap_share:.1%} above the best."
    if bound.gap_share > _WIDE_GAP:
        text += " That is what is proved; the best may be much nearer."
    return text


def _square_metres(mm2: float) -> str:
    return f"{mm2 / 1e6:.2f}" if mm2 < 1e8 else f"{mm2 / 1e6:.1f}"


_Block: TypeAlias = tuple[list[Layout], list[Step]]


def _blocks(plan: CutPlan) -> list[_Block]:
    """Layouts whose steps are mixed with each other, as they are begun, and their steps as they are made."""
    steps: dict[int, list[Step]] = {layout.number: [] for layout in plan.layouts}
    for step in plan.program:
        steps[step.layout].append(step)
    blocks: list[_Block] = []
    end = 0
    for layout in sorted(plan.layouts, key=lambda one: [step.number for step in steps[one.number][:1]]):
        mine = steps[layout.number]
        if mine and mine[0].number < end:
            blocks[-1][0].append(layout)
            blocks[-1][1].extend(mine)
        else:
            blocks.append(([layout], list(mine)))
        end = max(end, mine[-1].number if mine else 0)
    for _, together in blocks:
        together.sort(key=lambda one: one.number)
    return blocks


_LEAST_ALIKE: Final = 3
"""Steps from which on a remark that they all have is made once, above them."""


def _block(layouts: list[Layout], steps: list[Step], page: Page) -> Iterator[str]:
    width = page.width
    yield ""
    yield "-" * width
    for layout in layouts:
        tree = layout.tree
        size = f"{size_text(tree.dx, tree.dy)} × {show_mm(layout.thickness)} mm"
        heat = page.heats.get(layout.number)
        yield ends(
            f"LAYOUT {layout.number}   take {layout.repeat} × {layout.stock_ref}",
            f"{size}   {layout.material}" + (f"   heat {heat}" if heat else ""),
            width,
        )
        yield from wrapped(f"gives {_content(tree)} from each", width)
    common = _in_all(steps)
    if common:
        yield f"at every step from {steps[0].number} to {steps[-1].number}:"
    for finding in common:
        yield from row(MARKS[finding.level], finding.message, width)
    yield "-" * width
    if not steps:
        yield from wrapped("No cut is needed: the piece is used as it is.", width)
    for before, step in zip([None, *steps], steps, strict=False):
        yield ""
        yield from step_lines(step, before, page, common)


def _in_all(steps: list[Step]) -> tuple[Finding, ...]:
    """What is said alike at each of these steps; a stop is never taken away from its step."""
    if len(steps) < _LEAST_ALIKE:
        return ()
    return tuple(
        finding
        for finding in told(steps[0])
        if finding.level != "stop" and all(finding in step.findings for step in steps)
    )


def _unplaced(plan: CutPlan, width: int) -> Iterator[str]:
    if not plan.unplaced:
        return
    yield ""
    yield "NOT PLANNED"
    for one in plan.unplaced:
        yield from wrapped(f"{thousands(one.quantity)} × {one.ref}: {one.reason}", width, "  - ", "    ")


_WORST: Final = {"remainder": "what stays"}
"""What bounds a size, in the words of the steps."""


def _quality(plan: CutPlan, width: int) -> Iterator[str]:
    """How near to size the parts come out: a short table, and what is to be said of them."""
    if not plan.quality:
        return
    rows = [("PART", "SIZE", "WORST BY", "±", "WANTED", "EACH", "ALL")]
    rows += [
        (
            one.ref,
            f"{one.dimension} {show_mm(one.size)}"
            + ("" if one.aim == one.size else f", cut for {show_mm(one.aim)}"),
            _WORST.get(one.gauged, one.gauged),
            show_mm(one.accuracy),
            tolerance_text(one.minus, one.plus),
            inside_text(one.inside),
            inside_text(one.all_inside),
        )
        for one in plan.quality
    ]
    room = [max(len(line[place]) for line in rows) for place in range(len(rows[0]))]
    # A long reference is cut, never a figure; it stands in full at the steps.
    room[0] = max(4, min(room[0], width - sum(room[1:]) - 2 * len(room)))
    yield ""
    yield "QUALITY"
    for line in rows:
        yield "  " + "  ".join(f"{cell[:wide]:<{wide}}" for cell, wide in zip(line, room, strict=True))
    yield from wrapped(
        "Each: the chance of one part, the worst placed, to lie within what is wanted. All: the chance that "
        "all of them do.",
        width,
        "  ",
        "  ",
    )
    for one in plan.quality:
        for finding in one.findings:
            yield from row(MARKS[finding.level], f"{one.ref}, {one.dimension}: {finding.message}", width)


def inside_text(inside: float | None) -> str:
    """A chance as people read it; it never says that something is certain.

    >>> inside_text(0.954499), inside_text(1.0), inside_text(0.0002), inside_text(None)
    ('95.4 %', '> 99.9 %', '< 0.1 %', 'not known')
    """
    if inside is None:
        return "not known"
    if inside > 0.999:
        return "> 99.9 %"
    return "< 0.1 %" if inside < 0.001 else f"{100 * inside:.1f} %"


def _remarks(findings: Iterable[Finding], title: str, width: int) -> Iterator[str]:
    for place, finding in enumerate(findings):
        if place == 0:
            yield ""
            yield title
        yield from row(MARKS[finding.level], finding.message, width)


def _content(tree: Node) -> str:
    counts: dict[str, int] = {}
    for leaf in leaves(tree):
        if leaf.kind in ("part", "offcut"):
            what = leaf.ref or "" if leaf.kind == "part" else f"offcut {lying_text(leaf.dx, leaf.dy)}"
            counts[what] = counts.get(what, 0) + 1
    return ", ".join(f"{count} × {what}" for what, count in counts.items()) or "scrap only"


ROW_HEAD: Final = (
    "step", "layout", "stock", "piece", "pieces", "along_blade_mm", "depth_mm", "edge_end", "edge_state",
    "turn", "squared", "gauging", "gauge_mm", "measured", "repeat", "gang", "strokes", "gap_mm", "rake_deg",
    "stroke_mm", "hold_down_kn", "relief", "sheet_support", "force_kn", "rating_share", "piece_kg", "lift",
    "falls", "stays", "findings",
)  # fmt: skip
"""Columns of :func:`program_rows`; lengths in millimetres."""


def program_rows(plan: CutPlan) -> tuple[tuple[Cell, ...], ...]:
    """The program as rows for a table, one a step, in the columns of :data:`ROW_HEAD`."""
    stock = {layout.number: layout.stock_ref for layout in plan.layouts}
    page = page_of(plan, None, NARROWEST)
    return tuple(_cells(step, stock[step.layout], page) for step in plan.program)


def _cells(step: Step, stock_ref: str, page: Page) -> tuple[Cell, ...]:
    settings = step.settings
    return (
        step.number,
        step.layout,
        stock_ref,
        step.piece,
        step.pieces,
        to_mm(step.along_blade),
        to_mm(step.depth),
        step.edge_end,
        step.edge_state,
        step.turn,
        step.squared,
        step.gauging,
        to_mm(step.gauge),
        step.measured,
        step.repeat,
        step.gang,
        step.strokes,
        to_mm(settings.gap),
        settings.rake_deg,
        to_mm(settings.stroke),
        settings.hold_down_kn,
        settings.relief,
        settings.sheet_support,
        round(step.force_kn, 3),
        round(step.rating_share, 4),
        round(step.piece_kg, 3),
        lift_text(step),
        outcomes_text(step.drops, page),
        outcomes_text(step.remainders, page),
        "; ".join(f"{finding.level}: {finding.message}" for finding in step.findings),
    )
