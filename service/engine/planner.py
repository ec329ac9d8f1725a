"""The one entry point of planning: an order in, a cut plan out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction

from service.engine import ENGINE_VERSION
from service.engine.candidates import all_priced
from service.engine.choose import Draft, Group, Stop, Told, choose, draft_of, job_of, watch_for
from service.engine.clearance import wanted_gap
from service.engine.costly_limits import costly_limits
from service.engine.estimate import summarise
from service.engine.findings import Finding
from service.engine.fingerprint import fingerprint
from service.engine.force import fits_maximum, longest_cut
from service.engine.handling import cautions_for, lift_for, piece_kg
from service.engine.layout.values import sum_not_below
from service.engine.machine import Machine
from service.engine.objectives import NOTHING, best_at
from service.engine.order import Order, StockItem, as_priced, price_wanted, without_price
from service.engine.plan import Alternative, Bound, CutPlan, Summary, Unplaced
from service.engine.program.sequence import NoRoomError
from service.engine.quality.burr import burr_range
from service.engine.quality.parts import part_quality
from service.engine.quantities import show_mm
from service.engine.reasons import in_words
from service.engine.settings import settings_for

_PROFILE = "machine profile"
_NAMED = 5
"""Pieces of stock named in one finding."""
_CHOICE = "objective of the order; handling points and the value of offcuts are shop defaults"


class PickError(ValueError):
    """The option `pick` names a plan that the comparison does not have."""


class PriceError(ValueError):
    """The least cost is wanted of stock that has no price."""


def plan(order: Order, progress: Told | None = None, stop: Stop | None = None) -> CutPlan:
    """Turn an order into cuts that the machine can make.

    Each material and thickness is planned by itself, in the order in which the parts name them.
    What cannot be made is listed as unplaced with a reason; the rest is planned. Equal orders give
    equal plans: the search counts steps, not seconds.

    Parameters
    ----------
    order
        Parts, machine, materials, stock and options. Refs of parts and of stock are unique.
    progress
        Called now and then with how far it is and the best so far; it changes nothing.
    stop
        Asked between steps of the search. Once it says so, the best so far is the answer: every part
        that has a place was given one, and the plan is marked as cut short.

    Returns
    -------
    CutPlan
        Layouts, program, figures, the proven bound, and all that is to be said about them. For a
        comparison the plan that `pick` names; the recommended one lists the others.

    Raises
    ------
    PickError
        When the comparison has no plan `pick`.
    PriceError
        When the objective is ``cost`` and some piece of stock has no price that counts.
    """
    made = plans(order, progress, stop)
    pick = order.options.pick
    if pick >= len(made):
        raise PickError(no_such_plan(pick, len(made)))
    return made[pick]


def no_such_plan(pick: int, made: int) -> str:
    """What to say where a comparison came to `made` plans and `pick` names none of them.

    >>> no_such_plan(4, 1)
    'the comparison has 1 plan, counted from 0, and no plan 4'
    """
    counted = "1 plan" if made == 1 else f"{made} plans"
    return f"the comparison has {counted}, counted from 0, and no plan {pick}"


def picked(order: Order, pick: int) -> Order:
    """The order that gives the plan `pick` of a comparison by itself."""
    return replace(order, options=replace(order.options, pick=pick))


def plans(order: Order, progress: Told | None = None, stop: Stop | None = None) -> tuple[CutPlan, ...]:
    """All the plans of a comparison, the recommended one first; one plan for any other objective.

    Each of them is the plan that :func:`plan` gives for the order :func:`picked` for its place, with
    the fingerprint of that order.

    Parameters
    ----------
    order, progress, stop
        As in :func:`plan`.
    """
    if order.options.objective == "cost":
        unpriced = without_price(order.stock)
        if unpriced is not None:
            raise PriceError(price_wanted(unpriced))
    counted = replace(order, stock=as_priced(order.stock))
    groups, unplaced, findings = _sorted_out(counted)
    watch = watch_for(counted, groups, progress, stop)
    drafts = choose(counted, groups, watch) if groups else (_nothing(order),)
    if order.options.effort == "thorough" and order.options.objective == "material":
        best, told = _without_one_limit(counted, groups, drafts[0], watch.stop)
        drafts = (best,)
        findings += told
    made = [
        _finished(picked(order, pick), draft, groups, unplaced, findings) for pick, draft in enumerate(drafts)
    ]
    if watch.stopped:
        made = [_cut_short(one) for one in made]
    priced = all_priced([item for group in groups for item in group.stock])
    figures = [draft.figures for draft in drafts]
    if order.options.objective == "compare":
        made = [replace(one, best_at=best_at(figures, place, priced)) for place, one in enumerate(made)]
    others = tuple(
        Alternative(
            pick,
            made[pick].fingerprint,
            made[pick].best_at,
            draft.how,
            draft.summary,
            draft.figures.handling,
            made[pick].bound.gap_share,
        )
        for pick, draft in enumerate(drafts)
        if pick > 0
    )
    return (replace(made[0], alternatives=others), *made[1:])


def _without_one_limit(
    order: Order, groups: Sequence[Group], draft: Draft, stop: Stop | None
) -> tuple[Draft, list[Finding]]:
    """What is said of limits that cost stock, and the plan: a better one where that was found on the way."""
    findings: list[Finding] = []
    for place, group in enumerate(groups):
        better, said = costly_limits(job_of(order, group), draft.chosen[place], stop)
        if better is not draft.chosen[place]:
            chosen = (*draft.chosen[:place], better, *draft.chosen[place + 1 :])
            try:
                draft = draft_of(order, groups, chosen, stop)
            except NoRoomError:
                # It needs more open stacks than may wait, and what was said is said against it.
                continue
        findings += said
    return draft, findings


def _sorted_out(order: Order) -> tuple[tuple[Group, ...], list[Unplaced], list[Finding]]:
    """What can be put under the blade by material and thickness; what cannot, and what is to be said."""
    groups: list[Group] = []
    unplaced: list[Unplaced] = []
    findings: list[Finding] = []
    for group in _groups(order):
        refused = _group_refused(order.machine, group)
        if refused is not None:
            unplaced += [Unplaced(part.ref, part.quantity, *refused) for part in group.parts]
            continue
        usable, told = _liftable(order.machine, group)
        findings += told
        if group.stock and not usable:
            words = f"all stock of this material and thickness is too heavy for {order.machine.name}"
            unplaced += [Unplaced(part.ref, part.quantity, "too-heavy", words) for part in group.parts]
            continue
        groups.append(replace(group, stock=usable))
        findings += _price_missing(order, groups[-1])
    return tuple(groups), unplaced, findings


def _finished(
    order: Order,
    draft: Draft,
    groups: Sequence[Group],
    unplaced: Sequence[Unplaced],
    findings: Sequence[Finding],
) -> CutPlan:
    missing, said = list(unplaced), list(findings)
    for group, candidate in zip(groups, draft.chosen, strict=True):
        missing += candidate.unplaced
        mine = {
            layout.number
            for layout in draft.layouts
            if (layout.material, layout.thickness) == (group.material.grade, group.thickness)
        }
        gaps = [step.settings.gap for step in draft.program if step.layout in mine]
        if gaps:
            usual = wanted_gap(order.machine, group.material, group.thickness).high
            said.append(burr_range(group.material, group.thickness, max(gaps), usual))
    said += _free_offcuts(order, draft)
    if draft.how:
        said.append(
            Finding(
                "note", "chosen", f"of several ways to lay it out this one was chosen: {draft.how}", _CHOICE
            )
        )
    lines = {part.ref: line for line, part in enumerate(order.parts)}
    return CutPlan(
        order_ref=order.order_ref,
        machine_id=order.machine.id,
        fingerprint=fingerprint(order),
        engine_version=ENGINE_VERSION,
        summary=draft.summary,
        bound=_short_of_worth(_added([one.bound for one in draft.chosen], draft.summary), draft.summary),
        layouts=draft.layouts,
        program=draft.program,
        findings=tuple(said),
        unplaced=in_words(order, sorted(missing, key=lambda one: lines[one.ref])),
        cautions=cautions_for(order, draft.layouts, draft.program),
        stopped_early=any(one.stopped_early for one in draft.chosen),
        quality=part_quality(order, draft.layouts, draft.program),
    )


def _nothing(order: Order) -> Draft:
    worth = 0.0 if order.options.objective == "value" else None
    return Draft((), (), (), replace(summarise(order, (), ()), handling=0, worth=worth), NOTHING)


def _cut_short(made: CutPlan) -> CutPlan:
    said = Finding(
        "caution",
        "cut-short",
        "the search was ended before its time: another run of the same order may give another plan",
        "asked for by whoever planned",
    )
    return replace(made, cut_short=True, stopped_early=True, findings=(*made.findings, said))


def _groups(order: Order) -> tuple[Group, ...]:
    kinds = dict.fromkeys((part.material, part.thickness) for part in order.parts)
    return tuple(
        Group(
            order.material(grade),
            thickness,
            tuple(p for p in order.parts if (p.material, p.thickness) == (grade, thickness)),
            tuple(s for s in order.stock if (s.material, s.thickness) == (grade, thickness)),
            longest_cut(order.machine, order.material(grade), thickness),
        )
        for grade, thickness in kinds
    )


def _group_refused(machine: Machine, group: Group) -> tuple[str, str] | None:
    """Why nothing of this material and thickness can be cut on the machine at all."""
    grade, thickness = group.material.grade, group.thickness
    if not group.material.shearable:
        return "not-shearable", f"{grade} must not be put under a shear"
    if not fits_maximum(machine, thickness):
        return (
            "over-maximum",
            f"{show_mm(thickness)} mm is thicker than what fits under the blade of {machine.name}",
        )
    if group.longest == 0:
        return (
            "over-force",
            f"{show_mm(thickness)} mm {grade} is beyond the rating of {machine.name}",
        )
    settings = settings_for(
        machine,
        group.material,
        thickness,
        cut_length=group.longest,
        drop_depth=machine.back_gauge.high,
    )
    stops = [finding for finding in settings.findings if finding.level == "stop"]
    if stops:
        return stops[0].code, stops[0].message
    return None


def _liftable(machine: Machine, group: Group) -> tuple[tuple[StockItem, ...], list[Finding]]:
    """The stock that can be brought to the machine, and what is said of the rest."""
    usable: list[StockItem] = []
    findings: list[Finding] = []
    for item in group.stock:
        mass = piece_kg(group.material, item.length, item.width, item.thickness)
        if lift_for(machine, mass, (item.length, item.width)) is None:
            findings.append(
                Finding(
                    "caution",
                    "too-heavy",
                    f"{item.ref} ({mass:.0f} kg a piece) is left out: "
                    f"{machine.name} has nothing to lift it with",
                    _PROFILE,
                )
            )
        else:
            usable.append(item)
    return tuple(usable), findings


def _free_offcuts(order: Order, draft: Draft) -> Iterator[Finding]:
    """Which offcuts the stated cost leaves out, as they are paid for."""
    used = {layout.stock_ref for layout in draft.layouts}
    free = [
        item.ref
        for item, counted in zip(order.stock, as_priced(order.stock), strict=True)
        if item.ref in used and item.price is None and counted.price is not None
    ]
    if free:
        names = ", ".join(free[:_NAMED]) + (f" and {len(free) - _NAMED} more" if len(free) > _NAMED else "")
        have = "has no price and counts" if len(free) == 1 else "have no price and count"
        yield Finding("note", "offcuts-free", f"{names} {have} as paid for", "prices of the stock")


def _price_missing(order: Order, group: Group) -> Iterator[Finding]:
    """That one piece without a price turns the aim from the least cost to the least area."""
    usable = [item for item in group.stock if item.quantity > 0]
    unknown = [item for item in usable if item.price is None]
    if not unknown or len(unknown) == len(usable):
        return
    sheets = [item for item in unknown if item.kind == "sheet"]
    name = (sheets or unknown)[0].ref
    aim = "the least area of stock is aimed at, and not the least cost"
    if order.options.objective == "value":
        aim = "what the stock costs is not known"
    yield Finding(
        "caution",
        "no-price",
        f"{name} has no price: for {group.material.grade} {show_mm(group.thickness)} mm {aim}",
        "prices of the stock",
    )


def _short_of_worth(bound: Bound, summary: Summary) -> Bound:
    """The bound with how far the parts that were chosen are worth less than any can be."""
    if bound.value is None or summary.worth is None:
        return bound
    below = 1 - Fraction(str(summary.worth)) / Fraction(str(bound.value)) if bound.value else Fraction(0)
    return replace(bound, gap_value=max(float(below), 0.0))


def _added(bounds: list[Bound], summary: Summary) -> Bound:
    """The bound of the whole: materials and thicknesses do not share stock, so bounds add up."""
    values = [bound.value for bound in bounds if bound.value is not None]
    value = sum_not_below(values) if values else None
    # A group in which nothing was placed bounds no material, and its unpriced stock is not paid for.
    bounds = [bound for bound in bounds if bound.pieces] or bounds[:1]
    if len(bounds) == 1:
        return replace(bounds[0], value=value)
    costs = [bound.cost for bound in bounds]
    priced = [cost for cost in costs if cost is not None]
    cost = sum(priced) if len(priced) == len(costs) else None
    area = sum(bound.area_mm2 for bound in bounds)
    # One group may be priced and another not: then the shares of both are of no use, and areas count.
    used, least = summary.stock_area_mm2, area
    # Nor does a share of nothing tell anything, where free stock might do.
    if cost is not None and summary.material_cost is not None and (cost or not summary.material_cost):
        used, least = summary.material_cost, cost
    return Bound(
        pieces=sum(bound.pieces for bound in bounds),
        area_mm2=area,
        cost=cost,
        gap_pieces=sum(bound.gap_pieces for bound in bounds),
        gap_share=max(0.0, used / least - 1) if least else 0.0,
        method="; ".join(dict.fromkeys(bound.method for bound in bounds)) or "nothing placed",
        value=value,
    )
