"""The cut program: from layouts to numbered steps that the machine can make in that order.

How a piece lies (the operator stands in front, the blade and the back gauge are behind the piece):

* back gauge: the edge measured from lies at the back, against the gauge;
* front stop: the measured edge lies in front, against the stop, so the other end is at the back;
* marked line: the end that falls is at the back.

A cut turns nothing: what stays in front and what falls behind keep the way they lay. Pieces that are
taken up lying differently (some fell, some were held) are turned as far as the worst of them needs.

Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TypeAlias

from service.engine.force import check_force
from service.engine.handling import piece_kg
from service.engine.layout.rules import stock_piece, walk
from service.engine.machine import Machine
from service.engine.materials import Material
from service.engine.order import Options, Part, StockItem
from service.engine.plan import Axis, Layout, Outcome, Step, Turn
from service.engine.program.gang import gang_for, gripped
from service.engine.program.groups import End, Goes, Link, Work, links_of
from service.engine.program.names import letters, sheet_name
from service.engine.program.remarks import lift_of, step_findings
from service.engine.program.sequence import Task, in_order
from service.engine.quantities import Length
from service.engine.settings import settings_for

Lie: TypeAlias = tuple[Axis, End]
"""How a piece lies: the axis in depth, and the end of it that is at the back."""


class ProgramError(ValueError):
    """A layout that the machine cannot cut was handed in; the message names it and says why."""


@dataclass(frozen=True, slots=True)
class Shop:
    """What all steps of a program have in common: the machine and what is on it."""

    machine: Machine
    material: Material
    thickness: Length
    longest: Length


def write_program(
    order_machine: Machine,
    material: Material,
    layouts: tuple[Layout, ...],
    parts: Mapping[str, Part],
    stock: Mapping[str, StockItem],
    options: Options,
    longest: Length,
    first_number: int = 1,
) -> tuple[Step, ...]:
    """Write the steps that cut all `layouts`, one layout after another.

    Parameters
    ----------
    order_machine
        The shear.
    material
        What all these layouts are made of.
    layouts
        Layouts whose cuts keep the rules of :mod:`~service.engine.layout.rules`.
    parts, stock
        By reference; every reference in a layout must be there.
    options
        ``trim`` and ``batch`` are used here. With ``batch`` each gauge setting runs over all equal
        sheets; without, one sheet is finished before the next and pieces are named ``1.1``, ``1.1a``…
    longest
        Longest cut there is force for.
    first_number
        Number of the first step.

    Returns
    -------
    Steps in the order they are made. A sheet bears the number of its layout (``1``), the pieces cut
    from it that number and letters (``1a`` … ``1z``, ``1aa``); equal pieces share a name.

    Raises
    ------
    ProgramError
        When the machine cannot cut a layout.
    KeyError
        When a layout names stock or a part that is not there.
    """
    steps: list[Step] = []
    for layout in layouts:
        piece = stock_piece(stock[layout.stock_ref], options.trim)
        walked = walk(order_machine, layout.tree, piece, dict(parts), options.trim, longest)
        if isinstance(walked, str):
            raise ProgramError(f"layout {layout.number} cannot be cut on {order_machine.name}: {walked}")
        shop = Shop(order_machine, material, layout.thickness, longest)
        together = options.batch or layout.repeat == 1
        links = links_of(layout.tree, piece, walked, layout.repeat if together else 1)
        order = in_order(_tasks(links))
        for sheet in range(1, 2 if together else layout.repeat + 1):
            name = sheet_name(layout.number, None if together else sheet)
            first = first_number + len(steps)
            steps.extend(_write(shop, layout.number, name, links, order, first))
    return tuple(steps)


def turn_between(before: Lie | None, after: Lie) -> Turn:
    """How a piece is turned; a sheet that comes from the rack (None) is laid down right.

    >>> turn_between(("y", "near"), ("x", "near")), turn_between(("x", "far"), ("x", "near"))
    ('quarter', 'half')
    """
    if before is None or before == after:
        return "none"
    return "quarter" if before[0] != after[0] else "half"


def _tasks(links: tuple[Link, ...]) -> list[Task]:
    makers: dict[Work, list[int]] = {}
    for index, link in enumerate(links):
        for goes in (*link.drops, *link.remainders):
            if goes.work is not None:
                makers.setdefault(goes.work, []).append(index)
    return [
        Task(
            needs=tuple(makers.get((link.group, link.place), ())),
            level=link.level,
            gauging=link.cut.gauging,
            gauge=link.cut.gauge,
            trim=link.is_trim,
            group=link.group,
        )
        for link in links
    ]


def _write(
    shop: Shop, layout: int, sheet: str, links: tuple[Link, ...], order: tuple[int, ...], first: int
) -> Iterable[Step]:
    names: dict[Work, str] = {(0, 0): sheet}
    lies: dict[Work, list[Lie]] = {}
    for number, index in enumerate(order, start=first):
        link = links[index]
        work = (link.group, link.place)
        lie: Lie = (link.axis, link.end_at_back)
        turn = _worst_turn(lies.get(work, []), lie)
        for goes in (*link.drops, *link.remainders):
            if goes.work is not None:
                names.setdefault(goes.work, f"{sheet}{letters(len(names) - 1)}")
                lies.setdefault(goes.work, []).append(lie)
        yield _step(shop, link, number, layout, turn, names)


def _worst_turn(lies: list[Lie], after: Lie) -> Turn:
    turns = {turn_between(before, after) for before in lies}
    if "quarter" in turns:
        return "quarter"
    return "half" if "half" in turns else "none"


def _step(shop: Shop, link: Link, number: int, layout: int, turn: Turn, names: dict[Work, str]) -> Step:
    machine, material, thickness = shop.machine, shop.material, shop.thickness
    along, depth = link.across.size, link.extent.size
    kg = piece_kg(material, along, depth, thickness)
    lift, about_lift = lift_of(machine, kg)
    gang = _gang(shop, link, lift == "one person")
    force = check_force(machine, material, thickness, along * gang)
    settings = settings_for(
        machine,
        material,
        thickness,
        cut_length=along * gang,
        drop_depth=link.fall_depth,
        trim=link.is_trim,
        gauging=link.cut.gauging,
        force=force,
    )
    squared = _squared(machine, link)
    return Step(
        number=number,
        layout=layout,
        piece=names[(link.group, link.place)],
        pieces=link.pieces,
        along_blade=along,
        depth=depth,
        axis=link.axis,
        edge_end=link.measured_end,
        edge_state=link.edge_state,
        turn=turn,
        squared=squared,
        gauging=link.cut.gauging,
        gauge=link.cut.gauge,
        measured="drop" if link.cut.item_falls or link.cut.from_far else "remainder",
        repeat=link.repeat,
        gang=gang,
        strokes=link.repeat * -(-link.pieces // gang),
        settings=settings,
        force_kn=force.force_kn,
        rating_share=force.rating_share,
        piece_kg=kg,
        lift=lift,
        drops=_outcomes(link.drops, names),
        remainders=_outcomes(link.remainders, names),
        findings=step_findings(
            machine,
            thickness,
            link,
            gang,
            squared,
            settings.rake_deg,
            (*force.findings, *settings.findings),
            about_lift,
        ),
    )


def _gang(shop: Shop, link: Link, light: bool) -> int:
    """Pieces in one stroke. Only the back gauge stops several pieces at once, and heavy ones go alone."""
    if link.cut.gauging != "back gauge" or not light:
        return 1
    return gang_for(shop.machine, link.across.size, link.pieces, shop.longest)


def _squared(machine: Machine, link: Link) -> bool:
    """Whether a good side edge can be held to the squaring arm while a foot grips the piece."""
    good_side = not (link.across.near_mill and link.across.far_mill)
    return good_side and machine.squaring_arm > 0 and gripped(machine.hold_down, 0, link.across.size)


def _outcomes(goes: tuple[Goes, ...], names: dict[Work, str]) -> tuple[Outcome, ...]:
    return tuple(
        Outcome(one.kind, names[one.work] if one.work is not None else one.ref, one.dx, one.dy, one.count)
        for one in goes
    )
