"""The cut program as text: for the terminal, for plain paper, and as rows for a table.

Lengths are shown in millimetres.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Final, TypeAlias

from service.engine.estimate import leaves
from service.engine.findings import Finding
from service.engine.order import Order
from service.engine.plan import CutPlan, Layout, Node, Outcome, Settings, Step
from service.engine.program.names import is_sheet
from service.engine.program.remarks import LIFT_CODES, ONCE_CODES
from service.engine.quality.parts import tolerance_text
from service.engine.quantities import Length, show_mm, to_mm
from service.engine.settings import gauge_setting

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


@dataclass(frozen=True, slots=True)
class _Page:
    """What all steps of a printed program share.

    `takers` and `makers` tell for each piece the step that takes it up and those that make it, `content`
    how many of each part come out of one such piece.
    """

    width: int
    order: Order | None
    heats: Mapping[int, str]
    takers: Mapping[str, int]
    makers: Mapping[str, tuple[Step, ...]]
    content: Mapping[str, Mapping[str, int]]


def program_text(plan: CutPlan, order: Order | None = None, *, width: int = 100) -> str:
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
    page = _page(plan, order, width)
    lines = list(_head(plan, order, width))
    for layouts, steps in _blocks(plan):
        lines.extend(_block(layouts, steps, page))
    lines.extend(_unplaced(plan, width))
    lines.extend(_quality(plan, width))
    lines.extend(_remarks(plan.findings, "ABOUT THE PLAN", width))
    if plan.cautions:
        lines += ["", "CAUTIONS"]
        for caution in plan.cautions:
            lines.extend(_wrapped(caution, width, "  - ", "    "))
    return "\n".join(line.rstrip() for line in lines) + "\n"


def step_text(plan: CutPlan, order: Order, number: int, *, width: int = 100) -> str:
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
            lines = _step(step, before, _page(plan, order, width), ())
            return "\n".join(line.rstrip() for line in lines).strip("\n") + "\n"
        before = step
    known = f"its steps are 1 to {len(plan.program)}"
    raise ValueError(f"plan {plan.fingerprint[:16]} has no step {number}; {known}")


def _page(plan: CutPlan, order: Order | None, width: int) -> _Page:
    heats = {} if order is None else {item.ref: item.heat for item in order.stock if item.heat}
    makers: dict[str, tuple[Step, ...]] = {}
    for step in plan.program:
        names = [out.ref for out in (*step.drops, *step.remainders) if out.kind == "piece" and out.ref]
        for name in dict.fromkeys(names):
            makers[name] = (*makers.get(name, ()), step)
    return _Page(
        width,
        order,
        {one.number: heats[one.stock_ref] for one in plan.layouts if one.stock_ref in heats},
        {step.piece: step.number for step in plan.program},
        makers,
        _contents(plan.program),
    )


def _contents(program: tuple[Step, ...]) -> dict[str, dict[str, int]]:
    """For each piece the parts that come out of one of it, however many steps later."""
    found: dict[str, dict[str, int]] = {}
    for step in reversed(program):
        counts: dict[str, int] = {}
        for out in (*step.drops, *step.remainders):
            inside = {out.ref or "": 1} if out.kind == "part" else {}
            if out.kind == "piece":
                inside = found.get(out.ref or "", {})
            for ref, count in inside.items():
                counts[ref] = counts.get(ref, 0) + count * out.count
        found[step.piece] = {ref: count // step.pieces for ref, count in counts.items()}
    return found


def not_planned(plan: CutPlan) -> str | None:
    """How much of the order is not planned; None when all of it is.

    Returns
    -------
    For example ``NOT PLANNED: 505 of 10 633 pieces``.
    """
    missing = sum(one.quantity for one in plan.unplaced)
    if not missing:
        return None
    return f"NOT PLANNED: {_thousands(missing)} of {_count(missing + plan.summary.parts, 'piece')}"


def _head(plan: CutPlan, order: Order | None, width: int) -> Iterator[str]:
    summary = plan.summary
    yield _ends(f"CUT PROGRAM  {plan.order_ref}", f"plan {plan.fingerprint[:16]}", width)
    missing = not_planned(plan)
    if missing is not None:
        yield f"{missing}, see the end"
    yield _ends(f"machine {plan.machine_id}", f"engine {plan.engine_version}", width)
    yield "=" * width
    if not plan.layouts:
        yield "Nothing could be planned; the reasons stand below."
        return
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
        longer = "; a longer one (--effort thorough, over HTTP options.effort) may save material"
        if order is not None and order.options.effort == "thorough":
            longer = ""
        yield from _wrapped(f"The search was stopped before its end{longer}.", width)


_WIDE_GAP: Final = 0.2
"""Share above which the text says that a proof need not be near the truth."""


def _bound_text(plan: CutPlan) -> str:
    """What is proved about the material: the stock's cost where all of it is priced, else its area."""
    bound, summary = plan.bound, plan.summary
    whose = "the parts that are planned" if plan.unplaced else "these parts"
    if bound.cost is not None and summary.material_cost is not None:
        takes, least = f"The stock costs {summary.material_cost:.2f}", f"{bound.cost:.2f}"
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
    """Layouts whose steps are mixed with each other, and these steps in the order they are made."""
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
    for layouts, together in blocks:
        layouts.sort(key=lambda one: one.number)
        together.sort(key=lambda one: one.number)
    return blocks


_LEAST_ALIKE: Final = 3
"""Steps from which on a remark that they all have is made once, above them."""


def _block(layouts: list[Layout], steps: list[Step], page: _Page) -> Iterator[str]:
    width = page.width
    yield ""
    yield "-" * width
    for layout in layouts:
        tree = layout.tree
        size = f"{_size(tree.dx, tree.dy)} × {show_mm(layout.thickness)} mm"
        heat = page.heats.get(layout.number)
        yield _ends(
            f"LAYOUT {layout.number}   take {layout.repeat} × {layout.stock_ref}",
            f"{size}   {layout.material}" + (f"   heat {heat}" if heat else ""),
            width,
        )
        yield from _wrapped(f"gives {_content(tree)} from each", width)
    common = _in_all(steps)
    if common:
        yield f"at every step from {steps[0].number} to {steps[-1].number}:"
    for finding in common:
        yield from _row(_MARKS[finding.level], finding.message, width)
    yield "-" * width
    if not steps:
        yield from _wrapped("No cut is needed: the piece is used as it is.", width)
    for before, step in zip([None, *steps], steps, strict=False):
        yield ""
        yield from _step(step, before, page, common)


def _in_all(steps: list[Step]) -> tuple[Finding, ...]:
    """What is said alike at each of these steps; a stop is never taken away from its step."""
    if len(steps) < _LEAST_ALIKE:
        return ()
    return tuple(
        finding
        for finding in _told(steps[0])
        if finding.level != "stop" and all(finding in step.findings for step in steps)
    )


def _told(step: Step) -> tuple[Finding, ...]:
    """The findings that have a line of their own: the others stand in the other lines or at the end."""
    return tuple(one for one in step.findings if one.code not in (*LIFT_CODES, *ONCE_CODES))


def _step(step: Step, before: Step | None, page: _Page, common: tuple[Finding, ...]) -> Iterator[str]:
    width = page.width
    setting = step.gauge
    if page.order is not None and step.gauging == "back gauge":
        setting = gauge_setting(page.order.machine, step.gauge)[0]
    yield _step_head(step, setting, width)
    across = f"{_sheet_or_piece(step)}, {_size(step.along_blade, step.depth)}"
    each = " each" if step.pieces > 1 else ""
    yield from _row(
        "take",
        f"{step.pieces} × {across}, {_kg(step.piece_kg)}{each}, {_LIFTS[step.lift]}; "
        f"{_whence(step, before, page)}",
        width,
    )
    yield from _row("lay", _lie(step, before, page), width)
    if step.gauging != "back gauge":
        yield from _row(
            "clear", f"wind the back gauge clear: {show_mm(step.fall_depth)} mm deep falls past it", width
        )
    yield from _row("along", _along(step), width)
    yield from _row("set", _settings(step.settings), width)
    force = f"{step.force_kn:.0f} kN; the sheet counts as {step.rating_share:.0%} of the rated thickness"
    yield from _row("force", force, width)
    heat = page.heats.get(step.layout)
    if heat and (marked := _marked(step)):
        yield from _row("mark", f"heat {heat} on each {marked} before it is cut off", width)
    yield from _row("falls", _outcomes(step.drops, page), width)
    yield from _row("stays", _outcomes(step.remainders, page), width)
    for finding in _told(step):
        if finding in common or (finding.code == "gauge-rounded" and setting != step.gauge):
            continue
        yield from _row(_MARKS[finding.level], finding.message, width)


def _step_head(step: Step, setting: Length, width: int) -> str:
    """One line across the page, with the value that the operator looks for first."""
    wanted = "" if setting == step.gauge else f", wanted {show_mm(step.gauge)}"
    left = f"--- STEP {step.number} ---[ {_BLADES[step.gauging]}  {show_mm(setting)}{wanted} ]"
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


def _whence(step: Step, before: Step | None, page: _Page) -> str:
    """Where the pieces of a step are: what fell lies behind the machine until somebody fetches it."""
    if is_sheet(step.piece):
        return "from the rack"
    makers = page.makers.get(step.piece, ())
    fell = any(_has(maker.drops, step.piece) for maker in makers)
    stayed = [maker for maker in makers if _has(maker.remainders, step.piece)]
    if fell and stayed:
        return "from behind, machine stopped, and from the table"
    if fell:
        return "from behind, machine stopped"
    if before is not None and stayed == [before]:
        return "from the table"
    numbers = " and ".join(str(maker.number) for maker in stayed)
    return f"put aside at step {numbers}"


def _has(outcomes: tuple[Outcome, ...], piece: str) -> bool:
    return any(out.kind == "piece" and out.ref == piece for out in outcomes)


def _lie(step: Step, before: Step | None, page: _Page) -> str:
    edge = edge_name(step)
    makers = page.makers.get(step.piece, ())
    if len(makers) == 1 and step.edge_end == "near" and _fresh_edge(step, makers[0]):
        edge = "the edge just cut" if makers[0] == before else f"the edge cut at step {makers[0].number}"
    turn = {
        "none": "as it lies: ",
        "quarter": "turn it a quarter: ",
        "half": "turn it end for end: ",
    }[step.turn]
    if is_sheet(step.piece):
        turn = ""
    elif step.turn == "none" and makers != (before,):
        turn = "as it lay: "
    if step.gauging == "back gauge":
        where = f"{edge} to the back gauge"
    elif step.gauging == "front stop":
        where = f"{edge} in front, against the stop; {show_mm(step.gauge)} stays in front"
    else:
        side = "falls" if step.measured == "drop" else "stays in front"
        where = f"scribe {show_mm(step.gauge)} from {edge}, line under the light; that side {side}"
    return turn + where


def _along(step: Step) -> str:
    gang = f"{step.gang} × " if step.gang > 1 else ""
    held = ", a cut side edge to the squaring arm" if step.squared else ""
    hangs = "".join(f"; {one.message}" for one in step.findings if one.code == "beyond-table")
    return f"{gang}{show_mm(step.along_blade)} along the blade{held}{hangs}"


def _fresh_edge(step: Step, before: Step) -> bool:
    """Whether the near edge of the piece is the one that the step before has cut."""
    item_fell = before.measured == "drop" and before.edge_end == "near"
    rest = before.remainders if item_fell else before.drops
    return step.axis == before.axis and _has(rest, step.piece)


def edge_name(step: Step) -> str:
    """The edge measured from, in words: its length against the piece, its state, and which of two."""
    length = "long " if step.along_blade > step.depth else "short "
    if step.along_blade == step.depth:
        length = ""
    other = "the opposite " if step.edge_end == "far" else "the "
    return f"{other}{length}{step.edge_state} edge"


def _settings(settings: Settings) -> str:
    words = [
        f"gap {show_mm(settings.gap)} mm",
        f"rake {settings.rake_deg:g}°",
        f"stroke {show_mm(settings.stroke)} mm",
    ]
    if settings.hold_down_kn is not None:
        words.append(f"hold-down {settings.hold_down_kn:.0f} kN")
    words.append(f"relief {'ON' if settings.relief else 'off'}")
    words.append(f"support {'ON' if settings.sheet_support else 'off'}")
    return "  ".join(words)


def _outcomes(outcomes: tuple[Outcome, ...], page: _Page) -> str:
    """Where pieces go. Those of one size that are cut differently are told apart by what they give."""
    sizes = [(one.dx, one.dy) for one in outcomes if one.kind == "piece"]
    said = []
    for outcome in outcomes:
        text = _outcome(outcome, page.takers)
        inside = page.content.get(outcome.ref or "")
        if outcome.kind == "piece" and inside and sizes.count((outcome.dx, outcome.dy)) > 1:
            text += f" ({', '.join(f'{count} × {ref}' for ref, count in inside.items())})"
        said.append(text)
    return "; ".join(said)


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
        yield from _wrapped(f"{_thousands(one.quantity)} × {one.ref}: {one.reason}", width, "  - ", "    ")


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
    return f"{number} {what}" if number == 1 else f"{_thousands(number)} {what}s"


def _thousands(number: int) -> str:
    """A number with its thousands apart.

    >>> _thousands(10633), _thousands(505)
    ('10 633', '505')
    """
    return f"{number:,}".replace(",", " ")


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
    page = _page(plan, None, NARROWEST)
    return tuple(_cells(step, stock[step.layout], page) for step in plan.program)


def _cells(step: Step, stock_ref: str, page: _Page) -> tuple[Cell, ...]:
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
        _outcomes(step.drops, page),
        _outcomes(step.remainders, page),
        "; ".join(f"{finding.level}: {finding.message}" for finding in step.findings),
    )
