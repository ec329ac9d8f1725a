"""The cut program as text: for the terminal, for plain paper, and as rows for a table.

Lengths are shown in millimetres.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Mapping
from itertools import groupby
from typing import Final, TypeAlias

from service.engine.estimate import leaves
from service.engine.findings import Finding
from service.engine.plan import CutPlan, Layout, Node, Outcome, Settings, Step
from service.engine.program.names import is_sheet
from service.engine.program.remarks import LIFT_CODES
from service.engine.quality.parts import tolerance_text
from service.engine.quantities import Length, show_mm, to_mm

NARROWEST: Final = 60
"""Fewest columns in which a step can still be read."""

_INDENT: Final = 10
_TIED: Final = "\u00a0×\u00a0"
_BLADES: Final[dict[str, str]] = {
    "back gauge": "BACK GAUGE",
    "front stop": "FRONT STOP",
    "marked line": "MARKED LINE",
}
_MARKS: Final[dict[str, str]] = {"stop": "STOP", "caution": "CAUTION", "note": "NOTE"}

_LIFTS: Final[dict[str, str]] = {
    "one person": "one person",
    "two people": "TWO PEOPLE",
    "crane": "BY CRANE",
}

Cell: TypeAlias = str | int | float | bool | None


def program_text(plan: CutPlan, *, width: int = 100, heats: Mapping[str, str] | None = None) -> str:
    """Write a plan so that an operator can cut from it.

    Parameters
    ----------
    plan
        The plan.
    width
        Columns, at least :data:`NARROWEST`.
    heats
        Heat number of each stock reference that has one; its pieces are then to be marked.

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
    heats = heats or {}
    lines = list(_head(plan, width))
    first: dict[int, int] = {}
    for layout, steps in _stretches(plan):
        again = bool(steps) and steps[0].number != first.get(layout.number, steps[0].number)
        if steps:
            first.setdefault(layout.number, steps[0].number)
        lines.extend(_layout(plan, layout, steps, width, heats.get(layout.stock_ref), again=again))
    lines.extend(_unplaced(plan, width))
    lines.extend(_quality(plan, width))
    lines.extend(_remarks(plan.findings, "ABOUT THE PLAN", width))
    if plan.cautions:
        lines += ["", "CAUTIONS"]
        for caution in plan.cautions:
            lines.extend(_wrapped(caution, width, "  - ", "    "))
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _head(plan: CutPlan, width: int) -> Iterator[str]:
    summary, bound = plan.summary, plan.bound
    yield _ends(f"CUT PROGRAM  {plan.order_ref}", f"plan {plan.fingerprint[:12]}", width)
    yield _ends(f"machine {plan.machine_id}", f"engine {plan.engine_version}", width)
    yield "=" * width
    taken = [_count(summary.sheets, "sheet"), _count(summary.offcuts_used, "offcut")]
    used = " and ".join(text for text in taken if not text.startswith("0 ")) or "no stock"
    yield from _wrapped(
        f"Takes {used} for {_count(summary.parts, 'part')}; "
        f"{summary.utilisation:.1%} of what is cut up becomes parts.",
        width,
    )
    yield from _wrapped(_bound_text(plan), width)
    times = f"{_count(summary.strokes, 'stroke')}, {_count(summary.gauge_moves, 'gauge setting')}, "
    times += f"{_count(summary.turns, 'turn')}, {summary.cut_metres:.1f} m sheared, "
    times += f"about {summary.minutes:.0f} min."
    yield from _wrapped(times, width)
    if plan.stopped_early:
        yield from _wrapped("The search was stopped before its end; a longer one may save material.", width)
    if bound.pieces == 0 and not plan.layouts:
        yield "Nothing could be planned; the reasons stand below."


def _bound_text(plan: CutPlan) -> str:
    bound = plan.bound
    used = bound.pieces + bound.gap_pieces
    text = f"No plan can do with less than {_count(bound.pieces, 'stock piece')} ({bound.method}); "
    text += f"this one takes {used}. "
    if bound.gap_share <= 0:
        return text + "Its use of material cannot be bettered."
    return text + f"Its use of material is at most {bound.gap_share:.1%} above the best possible."


def _stretches(plan: CutPlan) -> Iterator[tuple[Layout, tuple[Step, ...]]]:
    """The program in its own order, as stretches of steps on one layout; then layouts without steps."""
    layouts = {layout.number: layout for layout in plan.layouts}
    for number, steps in groupby(plan.program, key=lambda step: step.layout):
        yield layouts[number], tuple(steps)
    cut = {step.layout for step in plan.program}
    for layout in plan.layouts:
        if layout.number not in cut:
            yield layout, ()


def _layout(
    plan: CutPlan, layout: Layout, steps: tuple[Step, ...], width: int, heat: str | None, *, again: bool
) -> Iterator[str]:
    tree = layout.tree
    yield ""
    yield "-" * width
    size = f"{_size(tree.dx, tree.dy)} × {show_mm(layout.thickness)} mm"
    take = "goes on" if again else f"take {layout.repeat} × {layout.stock_ref}"
    yield _ends(
        f"LAYOUT {layout.number}   {take}",
        f"{size}   {layout.material}" + (f"   heat {heat}" if heat else ""),
        width,
    )
    if not again:
        yield from _wrapped(f"gives {_content(tree)} from each", width)
    yield "-" * width
    if not steps:
        yield from _wrapped("No cut is needed: the piece is used as it is.", width)
    takers = {step.piece: step.number for step in plan.program}
    befores = dict(zip((one.number for one in plan.program), (None, *plan.program), strict=False))
    for step in steps:
        before = befores[step.number]
        yield ""
        yield from _step(step, before, takers, width, heat)


def _step(
    step: Step, before: Step | None, takers: Mapping[str, int], width: int, heat: str | None
) -> Iterator[str]:
    yield _step_head(step, width)
    across = f"{_sheet_or_piece(step)}, {_size(step.along_blade, step.depth)}"
    each = " each" if step.pieces > 1 else ""
    yield from _row(
        "take", f"{step.pieces} × {across}, {_kg(step.piece_kg)}{each}, {_LIFTS[step.lift]}", width
    )
    yield from _row("lay", _lie(step, before), width)
    yield from _row("along", _along(step), width)
    yield from _row("set", _settings(step.settings), width)
    force = f"{step.force_kn:.0f} kN; the sheet counts as {step.rating_share:.0%} of the rated thickness"
    yield from _row("force", force, width)
    if heat and (marked := _marked(step)):
        yield from _row("mark", f"heat {heat} on each {marked} before it is cut off", width)
    yield from _row("falls", _outcomes(step.drops, takers), width)
    yield from _row("stays", _outcomes(step.remainders, takers), width)
    for finding in step.findings:
        # Who lifts stands in the line above already.
        if finding.code not in LIFT_CODES:
            yield from _row(_MARKS[finding.level], finding.message, width)


def _step_head(step: Step, width: int) -> str:
    """One line across the page, with the value that the operator looks for first."""
    left = f"--- STEP {step.number} ---[ {_BLADES[step.gauging]}  {show_mm(step.gauge)} ]"
    right = _count(step.repeat, "cut") + (" on each piece" if step.pieces > 1 else "")
    if step.gang > 1:
        right += f", {step.gang} side by side"
    right += f", {_count(step.strokes, 'stroke')}"
    room = width - len(left) - len(right) - 5
    if room < 3:
        return f"{left}\n{' ' * _INDENT}{right}"
    return f"{left}{'-' * room} {right} ---"


def _sheet_or_piece(step: Step) -> str:
    return f"sheet {step.piece}" if is_sheet(step.piece) else f"piece {step.piece}"


def _lie(step: Step, before: Step | None) -> str:
    edge = edge_name(step)
    if before is not None and step.edge_end == "near" and _fresh_edge(step, before):
        edge = "the edge just cut"
    turn = {
        "none": "as it lies",
        "quarter": "turn it a quarter",
        "half": "turn it end for end",
    }[step.turn]
    if is_sheet(step.piece):
        turn = "from the rack"
    if step.gauging == "back gauge":
        where = f"{edge} to the back gauge"
    elif step.gauging == "front stop":
        where = f"{edge} in front, against the stop; {show_mm(step.gauge)} stays in front"
    else:
        side = "falls" if step.measured == "drop" else "stays in front"
        where = f"scribe {show_mm(step.gauge)} from {edge}, line under the light; that side {side}"
    return f"{turn}: {where}"


def _along(step: Step) -> str:
    gang = f"{step.gang} × " if step.gang > 1 else ""
    held = ", a cut side edge to the squaring arm" if step.squared else ""
    return f"{gang}{show_mm(step.along_blade)} along the blade{held}"


def _fresh_edge(step: Step, before: Step) -> bool:
    """Whether the near edge of the piece is the one that the step before has cut."""
    item_fell = before.measured == "drop" and before.edge_end == "near"
    rest = before.remainders if item_fell else before.drops
    return step.axis == before.axis and any(out.kind == "piece" and out.ref == step.piece for out in rest)


def edge_name(step: Step) -> str:
    """The edge measured from, in words: its length against the piece, its state, and which of two."""
    length = "long " if step.along_blade > step.depth else "short "
    if step.along_blade == step.depth:
        length = ""
    other = "the opposite " if step.edge_end == "far" else "the "
    return f"{other}{length}{step.edge_state} edge"


def _settings(settings: Settings) -> str:
    words = [
        f"gap {show_mm(settings.gap)}",
        f"rake {settings.rake_deg:g}°",
        f"stroke {show_mm(settings.stroke)}",
    ]
    if settings.hold_down_kn is not None:
        words.append(f"hold-down {settings.hold_down_kn:.0f} kN")
    words.append(f"relief {'ON' if settings.relief else 'off'}")
    words.append(f"support {'ON' if settings.sheet_support else 'off'}")
    return "  ".join(words)


def _outcomes(outcomes: tuple[Outcome, ...], takers: Mapping[str, int]) -> str:
    return "; ".join(_outcome(outcome, takers) for outcome in outcomes)


def _outcome(outcome: Outcome, takers: Mapping[str, int]) -> str:
    what = f"{outcome.count} × "
    size = _size(outcome.dx, outcome.dy)
    if outcome.kind == "part":
        return f"{what}PART {outcome.ref}, {size}"
    if outcome.kind == "piece":
        return f"{what}piece {outcome.ref}, {size}, for step {takers[outcome.ref or '']}"
    if outcome.kind == "offcut":
        return f"{what}OFFCUT {size}, to the rack"
    return f"{what}{outcome.kind} {size}, to the scrap"


def _marked(step: Step) -> str:
    kinds = {outcome.kind for outcome in (*step.drops, *step.remainders)}
    return " and ".join(kind for kind in ("part", "offcut") if kind in kinds)


def _unplaced(plan: CutPlan, width: int) -> Iterator[str]:
    if not plan.unplaced:
        return
    yield ""
    yield "NOT PLANNED"
    for one in plan.unplaced:
        yield from _wrapped(f"{one.quantity} × {one.ref}: {one.reason}", width, "  - ", "    ")


def _quality(plan: CutPlan, width: int) -> Iterator[str]:
    """How near to size the parts come out: a short table, and what is to be said of them."""
    if not plan.quality:
        return
    rows = [("PART", "SIZE", "WORST BY", "±", "WANTED", "INSIDE")]
    rows += [
        (
            one.ref,
            f"{one.dimension} {show_mm(one.size)}",
            one.gauged,
            show_mm(one.accuracy),
            tolerance_text(one.minus, one.plus),
            inside_text(one.inside),
        )
        for one in plan.quality
    ]
    room = [max(len(row[place]) for row in rows) for place in range(len(rows[0]))]
    # A long reference is cut, never a figure; it stands in full at the steps.
    room[0] = max(4, min(room[0], width - sum(room[1:]) - 2 * len(room)))
    yield ""
    yield "QUALITY"
    for row in rows:
        yield "  " + "  ".join(f"{cell[:wide]:<{wide}}" for cell, wide in zip(row, room, strict=True))
    yield from _wrapped(
        "Inside: the chance that the worst of them lies within what is wanted.", width, "  ", "  "
    )
    for one in plan.quality:
        for finding in one.findings:
            yield from _row(_MARKS[finding.level], f"{one.ref}, {one.dimension}: {finding.message}", width)


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
        yield from _row(_MARKS[finding.level], finding.message, width)


def _content(tree: Node) -> str:
    counts: dict[str, int] = {}
    for leaf in leaves(tree):
        if leaf.kind in ("part", "offcut"):
            what = leaf.ref or "" if leaf.kind == "part" else f"offcut {_size(leaf.dx, leaf.dy)}"
            counts[what] = counts.get(what, 0) + 1
    return ", ".join(f"{count} × {what}" for what, count in counts.items()) or "scrap only"


def _size(one: Length, other: Length) -> str:
    return f"{show_mm(max(one, other))} × {show_mm(min(one, other))}"


def _kg(kg: float) -> str:
    return f"{kg:.1f} kg" if kg < 10 else f"{kg:.0f} kg"


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def _row(label: str, text: str, width: int) -> list[str]:
    return _wrapped(text, width, f"  {label:<{_INDENT - 2}}", " " * _INDENT)


def _wrapped(text: str, width: int, first: str = "", other: str = "") -> list[str]:
    # A count or a size is not torn from its number.
    lines = textwrap.wrap(
        text.replace(" × ", _TIED),
        width,
        initial_indent=first,
        subsequent_indent=other,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return [line.replace(_TIED, " × ") for line in lines]


def _ends(left: str, right: str, width: int) -> str:
    """Text at both ends of a line; on two lines when they do not fit."""
    room = width - len(left) - len(right)
    return f"{left}{' ' * room}{right}" if room >= 2 else f"{left}\n{right:>{width}}"


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
    takers = {step.piece: step.number for step in plan.program}
    return tuple(_cells(step, stock[step.layout], takers) for step in plan.program)


def _cells(step: Step, stock_ref: str, takers: Mapping[str, int]) -> tuple[Cell, ...]:
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
        step.lift,
        _outcomes(step.drops, takers),
        _outcomes(step.remainders, takers),
        "; ".join(f"{finding.level}: {finding.message}" for finding in step.findings),
    )
