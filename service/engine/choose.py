"""From candidates to plans: programs are written for them, their figures compared, the best chosen.

Materials and thicknesses share no stock, so the candidates of each are judged by themselves first, and
then the likely combinations as a whole. The plan that least material would give is always among those
that are judged, so that no objective gives a plan worse by its own measure than that one.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

from service.engine.candidates import (
    Candidate,
    all_priced,
    candidates,
    material_of,
    searches_for,
)
from service.engine.estimate import summarise
from service.engine.layout.job import Job, SoFar
from service.engine.materials import Material
from service.engine.objectives import (
    NOTHING,
    Figures,
    handling_of,
    reasonable,
    to_show,
    together,
    undominated,
    worth_of,
)
from service.engine.offcut_value import tree_value
from service.engine.order import Objective, Order, Part, StockItem
from service.engine.plan import Layout, Step, Summary
from service.engine.program.numbering import by_use
from service.engine.program.sequence import NoRoomError
from service.engine.program.tasks import Weights, weights_for
from service.engine.program.write import Cutting, write_programs
from service.engine.quantities import Length
from service.engine.sag import with_sheet

_MOST_COMBINED: Final = 8
"""Combinations of the candidates of several materials that are written out."""
_REORDERED: Final = 3
"""Plans of least handling whose steps are ordered once more for the fewest settings."""


@dataclass(frozen=True, slots=True)
class Group:
    """Parts and stock of one material and thickness, which are planned by themselves.

    `longest` is the longest cut there is force for.
    """

    material: Material
    thickness: Length
    parts: tuple[Part, ...]
    stock: tuple[StockItem, ...]
    longest: Length


@dataclass(frozen=True, slots=True)
class Progress:
    """How far planning has come.

    Attributes
    ----------
    searches, of
        Searches for layouts that are done, and how many there may be.
    looks
        How often a search has asked whether to go on, about every 20 000 of its steps.
    best
        Figures of the best plan so far, for the materials that were begun; None before the first.
    under_way
        What the search that goes on has come to for its material and thickness, beside `best`; None
        where nothing is known, or a plan of it is in `best`.
    """

    searches: int
    of: int
    looks: int
    best: Figures | None
    under_way: SoFar | None = None


Told = Callable[[Progress], None]
Stop = Callable[[], bool]


@dataclass(frozen=True, slots=True)
class Draft:
    """A plan as far as it is judged: for each group the candidate, and all layouts and steps."""

    chosen: tuple[Candidate, ...]
    layouts: tuple[Layout, ...]
    program: tuple[Step, ...]
    summary: Summary
    figures: Figures

    @property
    def how(self) -> str:
        """How its layouts were found, in words; empty for the search as asked."""
        return "; ".join(dict.fromkeys(one.how for one in self.chosen if one.how))


class Watch:
    """Passes on to the caller how far planning is, and to the searches whether to go on."""

    def __init__(self, told: Told | None, stop: Stop | None, of: int) -> None:
        self.told, self.asked, self.of = told, stop, of
        self.searches = self.looks = 0
        self.best: Figures | None = None
        self.under_way: SoFar | None = None
        self.stopped = False

    @property
    def stop(self) -> Stop | None:
        """What a search asks; None when nobody listens."""
        return None if self.told is None and self.asked is None else self._look

    def _look(self) -> bool:
        self.looks += 1
        self.tell()
        if not self.stopped and self.asked is not None and self.asked():
            self.stopped = True
        return self.stopped

    def tell(self) -> None:
        """Tell the caller how far it is."""
        if self.told is not None:
            self.told(Progress(self.searches, self.of, self.looks, self.best, self.under_way))

    @property
    def found(self) -> Callable[[SoFar], None] | None:
        """What a search tells what it has come to; None when nobody listens."""
        return None if self.told is None else self._found

    def _found(self, so_far: SoFar) -> None:
        self.under_way = so_far
        self.tell()


def choose(order: Order, groups: Sequence[Group], watch: Watch) -> tuple[Draft, ...]:
    """The plan for the order's objective; for a comparison up to five, the recommended one first.

    Raises
    ------
    NoRoomError
        When no program can be written with as few open stacks as the order allows.
    """
    objective = order.options.objective
    desk = _Desk(order, tuple(groups), watch.stop)
    drafts = [desk.drafts(place, watch) for place in range(len(groups))]
    found = drafts[0] if len(groups) == 1 else desk.combined(drafts)
    if objective not in {"cost", "value"}:
        found = [found[place] for place in reasonable([one.figures for one in found])]
    if objective in {"handling", "compare"}:
        found = [*found, *desk.reordered(found)]
    if objective == "compare":
        return tuple(found[place] for place in to_show([one.figures for one in found], desk.priced))
    return (min(found, key=lambda one: one.figures.rank(objective)),)


def draft_of(order: Order, groups: Sequence[Group], chosen: Sequence[Candidate], stop: Stop | None) -> Draft:
    """The plan that these candidates come to, one for each group.

    Raises
    ------
    NoRoomError
        When no program can be written for it with as few open stacks as the order allows.
    """
    return _Desk(order, tuple(groups), stop).draft(tuple(chosen), tuple(groups))


def watch_for(order: Order, groups: Sequence[Group], told: Told | None, stop: Stop | None) -> Watch:
    """A watch that knows how many searches there may be."""
    return Watch(told, stop, sum(searches_for(job_of(order, one), order.options.objective) for one in groups))


def job_of(order: Order, group: Group) -> Job:
    """What is asked of the search for a material and thickness."""
    machine = with_sheet(order.machine, group.material, group.thickness)
    return Job(machine, group.parts, group.stock, order.options, group.longest)


def _priced(groups: Sequence[Group]) -> bool:
    return all_priced([item for group in groups for item in group.stock])


class _Desk:
    """Writes out what candidates come to."""

    def __init__(self, order: Order, groups: tuple[Group, ...], stop: Stop | None) -> None:
        self.order, self.groups, self.stop = order, groups, stop
        self.priced = _priced(groups)
        self.areas = {part.ref: part.length * part.width for part in order.parts}
        self.parts = {part.ref: part for part in order.parts}
        objective = order.options.objective
        self.by: Objective = "material" if objective == "compare" else objective

    def drafts(self, place: int, watch: Watch) -> list[Draft]:
        """A draft for each candidate of a group that can be written.

        For least material, only for those that use as little as any before them.
        """
        job = job_of(self.order, self.groups[place])
        objective = self.order.options.objective
        before = watch.best or NOTHING
        found: list[Draft] = []
        no_room: NoRoomError | None = None
        for candidate in candidates(job, objective, watch.stop, watch.found):
            watch.searches += 1
            if objective == "material" and found and not self._may_be_best(candidate, found, place):
                continue
            try:
                found.append(self.draft((candidate,), (self.groups[place],)))
            except NoRoomError as error:
                no_room = error
                continue
            best = min((one.figures for one in found), key=lambda one: one.rank(self.by))
            watch.best, watch.under_way = together(before, best), None
            watch.tell()
        if not found:
            raise no_room or NoRoomError("no program could be written")
        return found

    def _may_be_best(self, candidate: Candidate, found: Sequence[Draft], place: int) -> bool:
        least = min((one.figures.unplaced, one.figures.material) for one in found)
        group = self.groups[place]
        material = material_of(candidate.divisions, group.stock, _priced((group,)))
        return (self._left_out(candidate), material) <= least

    def _left_out(self, candidate: Candidate) -> int:
        return sum(self.areas[one.ref] * one.quantity for one in candidate.unplaced)

    def _ended(self) -> bool:
        """Whether the caller has said stop: then what is written already is enough."""
        return self.stop is not None and self.stop()

    def draft(
        self, chosen: tuple[Candidate, ...], groups: tuple[Group, ...], weights: Weights | None = None
    ) -> Draft:
        """Layouts numbered, the program written, and the figures of both."""
        order = self.order
        layouts: list[Layout] = []
        cuttings: list[Cutting] = []
        for candidate, group in zip(chosen, groups, strict=True):
            made = tuple(
                Layout(number, one.stock_ref, group.material.grade, group.thickness, one.repeat, one.tree)
                for number, one in enumerate(candidate.divisions, len(layouts) + 1)
            )
            layouts += made
            stock = {item.ref: item for item in group.stock}
            cuttings.append(Cutting(group.material, made, stock, group.longest))
        written = write_programs(
            order.machine, cuttings, self.parts, order.options, weights=weights, stop=self.stop
        )
        numbered, program = by_use(layouts, written)
        handling, worth = handling_of(program).points, worth_of(numbered, order.parts)
        summary = replace(
            summarise(order, numbered, program),
            handling=handling,
            worth=float(worth) if order.options.objective == "value" else None,
        )
        priced = _priced(groups)
        pairs = list(zip(chosen, groups, strict=True))
        stock = {item.ref: item for item in order.stock}
        figures = Figures(
            unplaced=sum(self._left_out(one) for one in chosen),
            material=sum(
                (material_of(one.divisions, group.stock, priced) for one, group in pairs),
                NOTHING.material,
            ),
            sheets=summary.sheets,
            pieces=summary.sheets + summary.offcuts_used,
            stock_area=sum(
                stock[one.stock_ref].length * stock[one.stock_ref].width * one.repeat for one in numbered
            ),
            offcuts=sum(one.repeat * tree_value(one.tree, order.options.offcut_min) for one in numbered),
            handling=handling,
            minutes=summary.minutes,
            time_cost=summary.time_cost,
            worth=worth,
        )
        return Draft(chosen, numbered, program, summary, figures)

    def combined(self, drafts: Sequence[Sequence[Draft]]) -> list[Draft]:
        """Whole plans from the drafts of each group."""
        if self.order.options.objective == "compare":
            places = self._fronts(drafts)
        else:
            places = [self._best(drafts, self.by), self._best(drafts, "material")]
        # Whatever the rest may need, these can be written with as few stacks as are allowed.
        places.append(
            tuple(next((p for p, d in enumerate(of) if d.chosen[0].few_stacks), 0) for of in drafts)
        )
        found: list[Draft] = []
        no_room: NoRoomError | None = None
        for combination in dict.fromkeys(places):
            if found and self._ended():
                break
            chosen = tuple(of[place].chosen[0] for of, place in zip(drafts, combination, strict=True))
            try:
                found.append(self.draft(chosen, self.groups))
            except NoRoomError as error:
                no_room = error
        if no_room is not None and not found:
            raise no_room
        return found

    def _best(self, drafts: Sequence[Sequence[Draft]], objective: Objective) -> tuple[int, ...]:
        chosen: list[int] = []
        for of in drafts:
            figures = [one.figures for one in of]
            places = range(len(of)) if objective in {"cost", "value"} else reasonable(figures)
            chosen.append(min(places, key=[one.rank(objective) for one in figures].__getitem__))
        return tuple(chosen)

    def _fronts(self, drafts: Sequence[Sequence[Draft]]) -> list[tuple[int, ...]]:
        """Combinations that no other dominates, by the sums of their figures; a few at most."""
        fronts: list[tuple[tuple[int, ...], Figures]] = [((), NOTHING)]
        for of in drafts:
            met = [
                ((*places, place), together(figures, of[place].figures))
                for places, figures in fronts
                for place in reasonable([one.figures for one in of])
            ]
            figures = [one for _, one in met]
            kept = list(dict.fromkeys([*to_show(figures, self.priced), *undominated(figures)]))
            fronts = [met[place] for place in kept[:_MOST_COMBINED]]
        return [places for places, _ in fronts]

    def reordered(self, drafts: Sequence[Draft]) -> list[Draft]:
        """The drafts of least handling with their steps ordered for the fewest settings of the machine."""
        fewest = weights_for(self.order.machine, fewest_moves=True)
        found: list[Draft] = []
        for one in sorted(drafts, key=lambda one: one.figures.rank("handling"))[:_REORDERED]:
            if self._ended():
                break
            try:
                found.append(self.draft(one.chosen, self.groups, fewest))
            except NoRoomError:
                # The same layouts have a program already; this was to better it.
                continue
        return found
