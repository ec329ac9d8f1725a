"""What a plan takes: material, strokes, moves, minutes and money.

The time model is a sum of plain terms, each a shop setting of
:class:`~service.engine.machine.TimeModel` times a count; no published times for shears were found.
With f = 1 for one person or the crane and ``two_person_factor`` for two people:

=========== ===================================================================================
term        seconds
=========== ===================================================================================
setup       ``program_setup_s`` once, first settings of the machine included
loading     ``load_sheet_s`` · f for each sheet or offcut taken, plus ``crane_s`` by crane
settings    ``settings_change_s`` for each further change of blade gap or rake
gauge       for each change of gauging or value. Back gauge: ``gauge_start_s`` + travel / speed,
            travelling first from the far end of its range. Front stop: ``front_stop_s``. Where
            a drop that is not gauged would not clear the back gauge, that is wound back first
marking     ``mark_line_s`` for each cut on each piece to a marked line
placing     ``place_piece_s`` · f for each cut on each piece, plus ``crane_s`` for each lift by crane: one
            to turn the piece that lies at the blade since the last cut, one to fetch a piece from
            behind, two for a piece that was put aside, away and back
turns       ``turn_piece_s`` · f for each piece turned
strokes     60 / ``strokes_per_minute`` · travel / full travel for each stroke, where the full
            travel is the one for the rated thickness and the cutting length at the lowest rake
collecting  ``collect_s`` for each step whose drops are wanted; trim and scrap lie until later
=========== ===================================================================================

Lengths are whole hundredths of a millimetre, times seconds unless a name says otherwise.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, fields
from typing import Final

from service.engine.handling import Lift, lift_for, piece_kg
from service.engine.machine import Machine
from service.engine.order import Order, StockItem
from service.engine.plan import Gauging, Layout, Step, Summary, leaves
from service.engine.program.names import is_sheet
from service.engine.quantities import PER_MM, Length
from service.engine.stroke import stroke_share

_MM2 = PER_MM * PER_MM

CLEAR: Final[Length] = 10 * PER_MM
"""Room between a falling drop and the back gauge that does not gauge it: shop default."""


@dataclass(frozen=True, slots=True)
class Effort:
    """One step as far as its time depends on it.

    `pieces` go through the step; `lifts` is how often a crane would have to lift
    them before it. `cuts` counts cuts on single pieces, `strokes` those of the blade; `stroke_share`
    is the travel as a share of the full travel; `wanted` tells whether the drops are fetched;
    `fall_depth` is the depth of one drop.
    """

    gauging: Gauging
    gauge: Length
    fall_depth: Length
    gap: Length
    rake_deg: float
    pieces: int
    lifts: int
    cuts: int
    strokes: int
    stroke_share: float
    turned: bool
    lift: Lift
    wanted: bool


@dataclass(frozen=True, slots=True)
class Times:
    """Seconds by term; the terms are those of the module's table."""

    setup: float
    loading: float
    settings: float
    gauge: float
    marking: float
    placing: float
    turns: float
    strokes: float
    collecting: float

    @property
    def total(self) -> float:
        """All terms together [s]."""
        return float(sum(getattr(self, term.name) for term in fields(self)))


def gauge_moves(efforts: Iterable[Effort]) -> int:
    """Changes of gauging or gauge value, the first setting included."""
    return _changes((effort.gauging, effort.gauge) for effort in efforts)


def settings_changes(efforts: Iterable[Effort]) -> int:
    """Changes of blade gap or rake, the first setting included."""
    return _changes((effort.gap, effort.rake_deg) for effort in efforts)


def _changes(values: Iterable[object]) -> int:
    count, last = 0, object()
    for value in values:
        count += value != last
        last = value
    return count


def times_for(machine: Machine, efforts: tuple[Effort, ...], loads: Iterable[Lift]) -> Times:
    """Seconds of a program by term.

    Parameters
    ----------
    machine
        The shear with its times.
    efforts
        The steps in the order they are made.
    loads
        For each sheet or offcut taken from the rack, who lifts it.
    """
    times = machine.times
    loads = tuple(loads)
    return Times(
        setup=times.program_setup_s,
        loading=sum(times.load_sheet_s * _factor(machine, lift) + _crane(machine, lift) for lift in loads),
        settings=times.settings_change_s * max(0, settings_changes(efforts) - 1),
        gauge=sum(_gauge_seconds(machine, efforts)),
        marking=times.mark_line_s * sum(one.cuts for one in efforts if one.gauging == "marked line"),
        placing=sum(
            times.place_piece_s * _factor(machine, one.lift) * one.cuts
            + _crane(machine, one.lift) * one.lifts
            for one in efforts
        ),
        turns=sum(
            times.turn_piece_s * _factor(machine, one.lift) * one.pieces for one in efforts if one.turned
        ),
        strokes=sum(60 / machine.strokes_per_minute * one.stroke_share * one.strokes for one in efforts),
        collecting=times.collect_s * sum(one.wanted for one in efforts),
    )


def _factor(machine: Machine, lift: Lift) -> float:
    return machine.times.two_person_factor if lift == "two people" else 1.0


def _crane(machine: Machine, lift: Lift) -> float:
    return machine.times.crane_s if lift == "crane" else 0.0


def _gauge_seconds(machine: Machine, efforts: tuple[Effort, ...]) -> Iterator[float]:
    stands = machine.back_gauge.high
    last: tuple[Gauging, Length] | None = None
    for effort in efforts:
        now = (effort.gauging, effort.gauge)
        if now == last:
            continue
        last = now
        if effort.gauging == "back gauge":
            travel_mm = abs(effort.gauge - stands) / PER_MM
            stands = effort.gauge
            yield machine.times.gauge_start_s + travel_mm / machine.back_gauge.speed_mm_s
            continue
        if effort.gauging == "front stop":
            yield machine.times.front_stop_s
        clear = clear_position(machine, effort.fall_depth)
        if clear > stands:
            yield machine.times.gauge_start_s + (clear - stands) / PER_MM / machine.back_gauge.speed_mm_s
            stands = clear


def clear_position(machine: Machine, fall_depth: Length) -> Length:
    """Where the back gauge stands at least while a drop that it does not gauge falls past it.

    With the swing of a tipping drop allowed for (:data:`CLEAR`, shop default), at most the far end of
    its range: a deeper drop passes a gauge that is lifted or swung away.
    """
    return min(fall_depth + CLEAR, machine.back_gauge.high)


def efforts_of(machine: Machine, program: Iterable[Step]) -> tuple[Effort, ...]:
    """What of each step its time depends on."""
    efforts: list[Effort] = []
    before: Step | None = None
    in_front: set[str | None] = set()
    for step in program:
        efforts.append(
            Effort(
                gauging=step.gauging,
                gauge=step.gauge,
                fall_depth=step.fall_depth,
                gap=step.settings.gap,
                rake_deg=step.settings.rake_deg,
                pieces=step.pieces,
                lifts=_lifts(step, before, put_aside=step.piece in in_front),
                cuts=step.repeat * step.pieces,
                strokes=step.strokes,
                stroke_share=stroke_share(machine, step.settings.stroke),
                turned=step.turn != "none",
                lift=step.lift,
                wanted=any(drop.kind in ("part", "piece", "offcut") for drop in step.drops),
            )
        )
        in_front.update(left.ref for left in step.remainders if left.kind == "piece")
        before = step
    return tuple(efforts)


def _lifts(step: Step, before: Step | None, put_aside: bool) -> int:
    if is_sheet(step.piece):
        return 0
    if lies_at_blade(step, before):
        return int(step.turn != "none")
    return step.pieces * (2 if put_aside else 1)


def lies_at_blade(step: Step, before: Step | None) -> bool:
    """Whether the step goes on with the one piece that the step before left in front of the blade."""
    if before is None or step.pieces != 1:
        return False
    return any(left.kind == "piece" and left.ref == step.piece for left in before.remainders)


def most_waiting(program: Iterable[Step]) -> int:
    """The most stacks of pieces that wait while a step is made, those it takes up itself not counted.

    Equal pieces under one name are a stack, wherever they lie.
    """
    waiting: set[str | None] = set()
    most = 0
    for step in program:
        waiting.discard(step.piece)
        most = max(most, len(waiting))
        waiting.update(out.ref for out in (*step.drops, *step.remainders) if out.kind == "piece")
    return most


def summarise(order: Order, layouts: tuple[Layout, ...], program: tuple[Step, ...]) -> Summary:
    """The plan in figures.

    Parameters
    ----------
    order
        The order the plan is for: machine, materials, stock and its prices.
    layouts
        All layouts of the plan.
    program
        The steps of all layouts, in the order they are made.

    Returns
    -------
    Areas are of nominal sizes. ``cut_metres`` is the length that was really sheared: each cut on each
    piece counts the piece's own length along the blade. ``turns`` counts the steps before which pieces
    are turned. ``material_cost`` is None when any piece used has no price.

    Raises
    ------
    KeyError
        When a layout names stock or a material that the order does not carry.
    """
    stock = {item.ref: item for item in order.stock}
    efforts = efforts_of(order.machine, program)
    used = [(stock[layout.stock_ref], layout.repeat) for layout in layouts]
    area = {"part": 0, "offcut": 0, "scrap": 0, "trim": 0}
    parts = 0
    parts_kg = scrap_kg = 0.0
    for layout in layouts:
        material = order.material(layout.material)
        for leaf in leaves(layout.tree):
            area[leaf.kind] += leaf.dx * leaf.dy * layout.repeat
            kg = piece_kg(material, leaf.dx, leaf.dy, layout.thickness) * layout.repeat
            if leaf.kind == "part":
                parts += layout.repeat
                parts_kg += kg
            elif leaf.kind != "offcut":
                scrap_kg += kg
    stock_area = sum(item.length * item.width * count for item, count in used)
    cut_up = stock_area - area["offcut"]
    times = times_for(order.machine, efforts, _loads(order, layouts, stock))
    return Summary(
        sheets=sum(count for item, count in used if item.kind == "sheet"),
        offcuts_used=sum(count for item, count in used if item.kind == "offcut"),
        parts=parts,
        stock_area_mm2=stock_area / _MM2,
        parts_area_mm2=area["part"] / _MM2,
        offcut_area_mm2=area["offcut"] / _MM2,
        scrap_area_mm2=(area["scrap"] + area["trim"]) / _MM2,
        utilisation=area["part"] / cut_up if cut_up else 0.0,
        parts_kg=parts_kg,
        scrap_kg=scrap_kg,
        cut_metres=sum(step.repeat * step.pieces * step.along_blade for step in program) / PER_MM / 1000,
        strokes=sum(step.strokes for step in program),
        gauge_moves=gauge_moves(efforts),
        settings_changes=settings_changes(efforts),
        turns=sum(step.turn != "none" for step in program),
        minutes=times.total / 60 if layouts else 0.0,
        material_cost=_material_cost(used),
        time_cost=times.total / 3600 * order.machine.times.hour_rate if layouts else 0.0,
        most_waiting=most_waiting(program),
    )


def _loads(order: Order, layouts: tuple[Layout, ...], stock: dict[str, StockItem]) -> Iterator[Lift]:
    for layout in layouts:
        item = stock[layout.stock_ref]
        kg = piece_kg(order.material(layout.material), item.length, item.width, layout.thickness)
        for _ in range(layout.repeat):
            yield lift_for(order.machine, kg, (item.length, item.width)) or "crane"


def _material_cost(used: list[tuple[StockItem, int]]) -> float | None:
    total = 0.0
    for item, count in used:
        if item.price is None:
            return None
        total += item.price * count
    return total
