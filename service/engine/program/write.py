"""The cut program: from layouts to numbered steps that the machine can make in that order.

Each layout becomes chains of cuts (:mod:`.groups`), each link of them a step in the rough (:mod:`.step`).
Then the steps of all layouts are put in order (:mod:`.sequence`), numbered, and their pieces named.

Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import TypeAlias

from service.engine.layout.rules import stock_piece
from service.engine.layout.walk import walk
from service.engine.machine import Machine
from service.engine.materials import Material
from service.engine.order import Options, Part, StockItem
from service.engine.plan import Layout, Outcome, Step, Turn
from service.engine.program.groups import Goes, Link, Work, links_of
from service.engine.program.names import letters, sheet_name
from service.engine.program.sequence import NoRoomError, in_order
from service.engine.program.step import Shop, rough_step
from service.engine.program.tasks import Stand, Task, Weights, weights_for
from service.engine.program.turns import makers_of, turns_of
from service.engine.quantities import Length
from service.engine.sag import with_sheet


class ProgramError(ValueError):
    """A layout that the machine cannot cut was handed in; the message names it and says why."""


@dataclass(frozen=True, slots=True)
class Cutting:
    """Layouts of one material and one thickness, with the stock they are cut from.

    `longest` is the longest cut there is force for.
    """

    material: Material
    layouts: tuple[Layout, ...]
    stock: Mapping[str, StockItem]
    longest: Length


def write_programs(
    order_machine: Machine,
    cuttings: Iterable[Cutting],
    parts: Mapping[str, Part],
    options: Options,
    first_number: int = 1,
    weights: Weights | None = None,
    stop: Callable[[], bool] | None = None,
) -> tuple[Step, ...]:
    """Write the steps that cut all layouts, one material and thickness after another.

    Within a material and thickness the steps of all layouts are put in the order that costs least
    (:mod:`~service.engine.program.sequence`); materials are not mixed on the floor.

    Parameters
    ----------
    order_machine
        The shear.
    cuttings
        Layouts whose cuts keep the rules of :mod:`~service.engine.layout.rules`.
    parts
        By reference; every reference in a layout must be there.
    options
        ``trim``, ``batch`` and ``open_stacks`` are used here. With ``batch`` each gauge setting runs
        over all equal sheets; without, one sheet is finished before the next and pieces are named
        ``1.1``, ``1.1a``…
    first_number
        Number of the first step.
    weights
        What changes cost; by the machine's times when None.
    stop
        Asked now and then; once it says so, the steps are ordered in the quickest way.

    Returns
    -------
    Steps in the order they are made. A sheet bears the number of its layout (``1``), the pieces cut
    from it that number and letters (``1a`` … ``1z``, ``1aa``); equal pieces share a name.

    Raises
    ------
    ProgramError
        When the machine cannot cut a layout.
    NoRoomError
        When no order is found that keeps ``open_stacks``.
    KeyError
        When a layout names stock or a part that is not there.
    """
    weights = weights or weights_for(order_machine)
    steps: list[Step] = []
    for cutting in cuttings:
        # Equal sheets that are cut singly go through the same steps: their order is looked for once.
        known: dict[tuple[int, Stand | None], _Sequenced] = {}
        for floor in _floors(order_machine, cutting, parts, options):
            stand = _stand(steps[-1]) if steps else None
            key = (floor[0][0].layout, stand)
            if options.batch or key not in known:
                known[key] = _sequenced(floor, weights, stand, options.open_stacks, stop)
            steps.extend(_ordered(floor, known[key], first_number + len(steps)))
    return tuple(steps)


@dataclass(frozen=True, slots=True)
class _Run:
    """What one sheet, or equal sheets together, go through: links, and each as a step in the rough."""

    layout: int
    sheet: str
    links: tuple[Link, ...]
    rough: tuple[Step, ...]
    turns: tuple[Turn, ...]
    bring: tuple[int, ...]


_Floor: TypeAlias = tuple[tuple[_Run, ...], ...]
"""What lies on the floor together: at first as few groups as can be, then the same with groups apart."""


def _floors(
    machine: Machine, cutting: Cutting, parts: Mapping[str, Part], options: Options
) -> Iterator[_Floor]:
    """Runs that may be mixed: all of them; without batches each sheet by itself."""
    whole: list[list[_Run]] = []
    if not cutting.layouts:
        return
    thickness = cutting.layouts[0].thickness
    shop = Shop(machine, cutting.material, thickness, cutting.longest)
    about_sheet = with_sheet(machine, cutting.material, thickness)
    for layout in cutting.layouts:
        together = options.batch or layout.repeat == 1
        ways = [_run(shop, about_sheet, cutting, layout, parts, options, apart=False)]
        if options.open_stacks is not None:
            ways.append(_run(shop, about_sheet, cutting, layout, parts, options, apart=True))
        if options.batch:
            whole.append(ways)
            continue
        for sheet in range(1, 1 + layout.repeat):
            name = sheet_name(layout.number, None if together else sheet)
            yield tuple((replace(run, sheet=name),) for run in ways)
    if whole:
        yield tuple(zip(*whole, strict=True))


def _run(
    shop: Shop,
    about_sheet: Machine,
    cutting: Cutting,
    layout: Layout,
    parts: Mapping[str, Part],
    options: Options,
    *,
    apart: bool,
) -> _Run:
    machine = shop.machine
    piece = stock_piece(cutting.stock[layout.stock_ref], options.trim)
    walked = walk(about_sheet, layout.tree, piece, dict(parts), options.trim, cutting.longest)
    if isinstance(walked, str):
        raise ProgramError(f"layout {layout.number} cannot be cut on {machine.name}: {walked}")
    batch = layout.repeat if options.batch else 1
    links = links_of(layout.tree, piece, walked, batch, apart=apart)
    rough = tuple(rough_step(shop, link, layout.number) for link in links)
    turns, stays = turns_of(links), _stays(links)
    bring = tuple(_bring(machine, *one) for one in zip(rough, turns, stays, strict=True))
    return _Run(layout.number, sheet_name(layout.number), links, rough, turns, bring)


def _bring(machine: Machine, step: Step, turn: Turn, stays: bool) -> int:
    """What it takes more to bring the pieces of a step back than to go on with them at once [0.01 s].

    By crane, a piece that could have stayed is put aside and fetched, two lifts instead of the one
    that turns it in its place.
    """
    times = machine.times
    factor = times.two_person_factor if step.lift == "two people" else 1.0
    lifts = (2 if turn == "none" else 1) if stays else 1
    each = times.place_piece_s * factor + (times.crane_s * lifts if step.lift == "crane" else 0.0)
    return int(100 * each) * step.pieces


def _stays(links: tuple[Link, ...]) -> tuple[bool, ...]:
    """Whether the one piece of each link can lie at the blade since the cut that left it in front."""
    makers = makers_of(links)
    return tuple(
        link.pieces == 1
        and any(
            goes.work == (link.group, link.place)
            for maker in makers.get((link.group, link.place), ())
            for goes in links[maker].remainders
        )
        for link in links
    )


@dataclass(frozen=True, slots=True)
class _Sequenced:
    """Which of the ways of a floor is taken, and the runs and places there in the order of the steps."""

    way: int
    order: tuple[tuple[int, int], ...]


def _sequenced(
    floor: _Floor,
    weights: Weights,
    stand: Stand | None,
    open_stacks: int | None,
    stop: Callable[[], bool] | None,
) -> _Sequenced:
    """The order of the steps, with as few groups as can be."""
    for way, runs in enumerate(floor):
        tasks, places = _tasks(runs)
        try:
            order = in_order(tasks, weights, stand, open_stacks, stop)
        except NoRoomError:
            if way == len(floor) - 1:
                raise
            continue
        return _Sequenced(way, tuple(places[index] for index in order))
    raise ValueError("at least one way to write a program is wanted")


def _ordered(floor: _Floor, sequenced: _Sequenced, first: int) -> Iterator[Step]:
    """The steps of what lies on the floor together, numbered from `first`."""
    runs = floor[sequenced.way]
    names = [{(0, 0): run.sheet} for run in runs]
    for number, (run, place) in enumerate(sequenced.order, start=first):
        yield _finished(runs[run], place, number, names[run])


def _finished(run: _Run, place: int, number: int, names: dict[Work, str]) -> Step:
    link = run.links[place]
    for goes in (*link.drops, *link.remainders):
        if goes.work is not None:
            names.setdefault(goes.work, f"{run.sheet}{letters(len(names) - 1)}")
    return replace(
        run.rough[place],
        number=number,
        piece=names[link.group, link.place],
        turn=run.turns[place],
        drops=_outcomes(link.drops, names),
        remainders=_outcomes(link.remainders, names),
    )


def _outcomes(goes: tuple[Goes, ...], names: dict[Work, str]) -> tuple[Outcome, ...]:
    return tuple(
        Outcome(one.kind, names[one.work] if one.work is not None else one.ref, one.dx, one.dy, one.count)
        for one in goes
    )


def _stand(step: Step) -> Stand:
    return step.gauging, step.gauge, (step.settings.gap, step.settings.rake_deg)


def _tasks(runs: tuple[_Run, ...]) -> tuple[list[Task], list[tuple[int, int]]]:
    """All links as tasks, and for each of them its run and its place there."""
    tasks: list[Task] = []
    places: list[tuple[int, int]] = []
    groups = 0
    for number, run in enumerate(runs):
        makers = makers_of(run.links)
        first = len(tasks)
        for place, link in enumerate(run.links):
            step, work = run.rough[place], (link.group, link.place)
            tasks.append(
                Task(
                    needs=tuple(first + maker for maker in makers.get(work, ())),
                    level=link.level,
                    gauging=link.cut.gauging,
                    gauge=link.cut.gauge,
                    trim=link.is_trim,
                    group=groups + link.group,
                    setting=(step.settings.gap, step.settings.rake_deg),
                    bring=0 if work == (0, 0) else run.bring[place],
                    stays_after=tuple(
                        first + maker
                        for maker in makers.get(work, ())
                        if link.pieces == 1 and any(goes.work == work for goes in run.links[maker].remainders)
                    ),
                )
            )
            places.append((number, place))
        groups += len(run.links)
    return tasks, places
