"""A step of the cut program in words: what to take, how it lies, what is set, what becomes of it.

Lengths are shown in millimetres.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from service.drawing.words import INDENT, MARKS, counted, kg_text, lying_text, row, size_text
from service.engine.findings import Finding
from service.engine.lifting import within_guidance
from service.engine.order import Order
from service.engine.plan import CutPlan, Layout, Outcome, Settings, Step
from service.engine.program.names import is_sheet
from service.engine.program.remarks import LIFT_CODES, ONCE_CODES
from service.engine.quantities import Length, show_mm
from service.engine.settings import gauge_setting

_BLADES: Final[dict[str, str]] = {
    "back gauge": "BACK GAUGE",
    "front stop": "FRONT STOP",
    "marked line": "MARKED LINE",
}

_LIFTS: Final[dict[str, str]] = {
    "two people": "TWO PEOPLE",
    "crane": "BY CRANE",
}


@dataclass(frozen=True, slots=True)
class Page:
    """What all steps of a printed program share.

    `takers` and `makers` tell for each piece the step that takes it up and those that make it, `content`
    how many of each part come out of one such piece; `racks` names the stock of each layout.
    """

    width: int
    order: Order | None
    heats: Mapping[int, str]
    takers: Mapping[str, int]
    makers: Mapping[str, tuple[Step, ...]]
    content: Mapping[str, Mapping[str, int]]
    racks: Mapping[int, str]


def page_of(plan: CutPlan, order: Order | None, width: int) -> Page:
    """Gather from a plan, and from its order when it is at hand, what its steps share."""
    heats = {} if order is None else {item.ref: item.heat for item in order.stock if item.heat}
    makers: dict[str, tuple[Step, ...]] = {}
    for step in plan.program:
        names = [out.ref for out in (*step.drops, *step.remainders) if out.kind == "piece" and out.ref]
        for name in dict.fromkeys(names):
            makers[name] = (*makers.get(name, ()), step)
    return Page(
        width,
        order,
        {one.number: heats[one.stock_ref] for one in plan.layouts if one.stock_ref in heats},
        {step.piece: step.number for step in plan.program},
        makers,
        _contents(plan.program),
        {one.number: _stock(one, heats.get(one.stock_ref)) for one in plan.layouts},
    )


def _stock(layout: Layout, heat: str | None) -> str:
    named = f"{layout.stock_ref}, {layout.material} {show_mm(layout.thickness)} mm"
    return f"{named}, heat {heat}" if heat else named


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


def told(step: Step) -> tuple[Finding, ...]:
    """The findings that have a line of their own: the others stand in the other lines or at the end."""
    return tuple(one for one in step.findings if one.code not in (*LIFT_CODES, *ONCE_CODES))


def step_lines(step: Step, before: Step | None, page: Page, common: tuple[Finding, ...]) -> Iterator[str]:
    """The lines of one step.

    Parameters
    ----------
    step, before
        The step, and the one made just before it; None at the start.
    page
        What all steps share.
    common
        What was said above for all steps and is left out here.
    """
    width = page.width
    setting = step.gauge
    if page.order is not None and step.gauging == "back gauge":
        setting = gauge_setting(page.order.machine, step.gauge)[0]
    yield _step_head(step, setting, width)
    across = f"{_sheet_or_piece(step)}, {size_text(step.along_blade, step.depth)}"
    each = " each" if step.pieces > 1 else ""
    lifted = _LIFTS.get(step.lift, lift_text(step))
    yield from row(
        "take",
        f"{step.pieces} × {across}, {kg_text(step.piece_kg)}{each}, {lifted}; {_whence(step, before, page)}",
        width,
    )
    yield from row("lay", _lie(step, before, page), width)
    if step.gauging != "back gauge":
        yield from row(
            "clear", f"wind the back gauge clear: {show_mm(step.fall_depth)} mm deep falls past it", width
        )
    yield from row("along", _along(step), width)
    yield from row("set", _settings(step.settings), width)
    yield from row("force", _force(step, page.order), width)
    heat = page.heats.get(step.layout)
    if marks := _marks(step, heat):
        yield from row("mark", f"{marks} before it is cut off", width)
    if waits := _waits(step, page.takers):
        yield from row("name", waits, width)
    yield from row("falls", outcomes_text(step.drops, page), width)
    yield from row("stays", outcomes_text(step.remainders, page), width)
    for finding in told(step):
        if finding in common or (finding.code == "gauge-rounded" and setting != step.gauge):
            continue
        yield from row(MARKS[finding.level], finding.message, width)


def lift_text(step: Step) -> str:
    """Who moves a piece; with a reserve where the shop's limits allow one person more than guidance does."""
    sides = (step.along_blade, step.depth)
    if step.lift == "one person" and step.piece_kg > 0 and not within_guidance(step.piece_kg, sides):
        return "one person by the shop's limits only, ask lift-check"
    return step.lift


def _force(step: Step, order: Order | None) -> str:
    limit = None if order is None else order.machine.force_limit_kn
    taken = f"{step.force_kn:.0f} kN"
    if limit is not None:
        taken = f"{step.force_kn:.0f} of {limit:g} kN ({step.force_kn / limit:.0%})"
    return f"{taken}; the thickness counts as {step.rating_share:.0%} of the rating"


def _step_head(step: Step, setting: Length, width: int) -> str:
    """One line across the page, with the value that the operator looks for first."""
    wanted = "" if setting == step.gauge else f", wanted {show_mm(step.gauge)}"
    left = f"--- STEP {step.number} ---[ {_BLADES[step.gauging]}  {show_mm(setting)}{wanted} ]"
    right = counted(step.repeat, "cut") + (" on each piece" if step.pieces > 1 else "")
    if step.gang > 1:
        right += f", {step.gang} side by side"
    right += f", {counted(step.strokes, 'stroke')}"
    room = width - len(left) - len(right) - 5
    if room < 3:
        return f"{left}\n{' ' * INDENT}{right}"
    return f"{left}{'-' * room} {right} ---"


def _sheet_or_piece(step: Step) -> str:
    return f"sheet {step.piece}" if is_sheet(step.piece) else f"piece {step.piece}"


def _whence(step: Step, before: Step | None, page: Page) -> str:
    """Where the pieces of a step are: what fell lies behind the machine until somebody fetches it."""
    if is_sheet(step.piece):
        return f"from the rack: {page.racks[step.layout]}"
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


def _lie(step: Step, before: Step | None, page: Page) -> str:
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


def outcomes_text(outcomes: tuple[Outcome, ...], page: Page) -> str:
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
    size = size_text(outcome.dx, outcome.dy)
    if outcome.kind == "part":
        return f"{what}PART {outcome.ref}, {size}"
    if outcome.kind == "piece":
        return f"{what}piece {outcome.ref}, {size}, for step {takers[outcome.ref or '']}"
    if outcome.kind == "offcut":
        lies = f"{lying_text(outcome.dx, outcome.dy)}, rolled along the {show_mm(outcome.dx)}"
        return f"{what}OFFCUT {lies}, to the rack"
    # Scrap is where it goes, trim or leftover why: the words under which the log counts it.
    return f"{what}{'trim' if outcome.kind == 'trim' else 'leftover'} {size}, to the scrap"


_LONG: Final = 2
"""Steps that lie between from which on a piece that waits is to bear its name: shop default."""


def _waits(step: Step, takers: Mapping[str, int]) -> str:
    """Which pieces are put away past other steps, so that they are to bear their names."""
    names = dict.fromkeys(
        out.ref for out in (*step.drops, *step.remainders) if out.kind == "piece" and out.ref is not None
    )
    long = [name for name in names if takers[name] - step.number > _LONG]
    if not long:
        return ""
    each = [f"{name} (until step {takers[name]})" for name in long]
    listed = each[0] if len(each) == 1 else f"{', '.join(each[:-1])} and {each[-1]}"
    return f"write on what waits past two or more steps: {listed}"


def _marks(step: Step, heat: str | None) -> str:
    """What is to be written on what is done: the heat number, and on offcuts how they were rolled."""
    kinds = {outcome.kind for outcome in (*step.drops, *step.remainders)}
    done = " and ".join(kind for kind in ("part", "offcut") if kind in kinds)
    marks = [f"heat {heat} on each {done}"] if heat and done else []
    if "offcut" in kinds:
        marks.append("the rolling direction on each offcut")
    return ", ".join(marks)
