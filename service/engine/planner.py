"""The one entry point of planning: an order in, a cut plan out."""

from __future__ import annotations

from dataclasses import dataclass

from service.engine import ENGINE_VERSION
from service.engine.estimate import summarise
from service.engine.findings import Finding
from service.engine.fingerprint import fingerprint
from service.engine.force import fits_maximum, longest_cut
from service.engine.handling import cautions_for, lift_for, piece_kg
from service.engine.layout.job import Found, Job
from service.engine.layout.search import find_layouts
from service.engine.machine import Machine
from service.engine.materials import Material
from service.engine.order import Order, Part, StockItem
from service.engine.plan import Bound, CutPlan, Layout, Step, Summary, Unplaced
from service.engine.program.write import write_program
from service.engine.quality.burr import burr_range
from service.engine.quality.parts import part_quality
from service.engine.quantities import Length, show_mm
from service.engine.reasons import in_words
from service.engine.settings import settings_for

_PROFILE = "machine profile"


@dataclass(frozen=True, slots=True)
class _Group:
    """Parts and stock of one material and thickness, planned by themselves."""

    material: Material
    thickness: Length
    parts: tuple[Part, ...]
    stock: tuple[StockItem, ...]


def plan(order: Order) -> CutPlan:
    """Turn an order into cuts that the machine can make.

    Each material and thickness is planned by itself, in the order in which the parts name them.
    What cannot be made is listed as unplaced with a reason; the rest is planned. Equal orders give
    equal plans: the search counts steps, not seconds.

    Parameters
    ----------
    order
        Parts, machine, materials, stock and options. Refs of parts and of stock are unique.

    Returns
    -------
    CutPlan
        Layouts, program, figures, the proven bound, and all that is to be said about them.
    """
    layouts: list[Layout] = []
    program: list[Step] = []
    unplaced: list[Unplaced] = []
    findings: list[Finding] = []
    bounds: list[Bound] = []
    stopped_early = False
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
        longest = longest_cut(order.machine, group.material, group.thickness)
        found = find_layouts(Job(order.machine, group.parts, usable, order.options, longest))
        made = _numbered(found, group, first=len(layouts) + 1)
        steps = write_program(
            order.machine,
            group.material,
            made,
            {part.ref: part for part in group.parts},
            {item.ref: item for item in usable},
            order.options,
            longest,
            first_number=len(program) + 1,
        )
        if steps:
            widest = max(step.settings.gap for step in steps)
            findings.append(burr_range(group.material, group.thickness, widest))
        program += steps
        layouts += made
        unplaced += found.unplaced
        bounds.append(found.bound)
        stopped_early = stopped_early or found.stopped_early
    summary = summarise(order, tuple(layouts), tuple(program))
    return CutPlan(
        order_ref=order.order_ref,
        machine_id=order.machine.id,
        fingerprint=fingerprint(order),
        engine_version=ENGINE_VERSION,
        summary=summary,
        bound=_added(bounds, summary),
        layouts=tuple(layouts),
        program=tuple(program),
        findings=tuple(findings),
        unplaced=in_words(order, unplaced),
        cautions=cautions_for(order, tuple(layouts), tuple(program)),
        stopped_early=stopped_early,
        quality=part_quality(order, layouts, program),
    )


def _groups(order: Order) -> tuple[_Group, ...]:
    kinds = dict.fromkeys((part.material, part.thickness) for part in order.parts)
    return tuple(
        _Group(
            order.material(grade),
            thickness,
            tuple(p for p in order.parts if (p.material, p.thickness) == (grade, thickness)),
            tuple(s for s in order.stock if (s.material, s.thickness) == (grade, thickness)),
        )
        for grade, thickness in kinds
    )


def _group_refused(machine: Machine, group: _Group) -> tuple[str, str] | None:
    """Why nothing of this material and thickness can be cut on the machine at all."""
    grade, thickness = group.material.grade, group.thickness
    if not group.material.shearable:
        return "not-shearable", f"{grade} must not be put under a shear"
    if not fits_maximum(machine, thickness):
        return (
            "over-maximum",
            f"{show_mm(thickness)} mm is thicker than what fits under the blade of {machine.name}",
        )
    if longest_cut(machine, group.material, thickness) == 0:
        return (
            "over-force",
            f"{show_mm(thickness)} mm {grade} is beyond the rating of {machine.name}",
        )
    settings = settings_for(
        machine,
        group.material,
        thickness,
        cut_length=longest_cut(machine, group.material, thickness),
        drop_depth=machine.back_gauge.high,
    )
    stops = [finding for finding in settings.findings if finding.level == "stop"]
    if stops:
        return stops[0].code, stops[0].message
    return None


def _liftable(machine: Machine, group: _Group) -> tuple[tuple[StockItem, ...], list[Finding]]:
    """The stock that can be brought to the machine, and what is said of the rest."""
    usable: list[StockItem] = []
    findings: list[Finding] = []
    for item in group.stock:
        mass = piece_kg(group.material, item.length, item.width, item.thickness)
        if lift_for(machine, mass) is None:
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


def _numbered(found: Found, group: _Group, first: int) -> tuple[Layout, ...]:
    return tuple(
        Layout(number, d.stock_ref, group.material.grade, group.thickness, d.repeat, d.tree)
        for number, d in enumerate(found.divisions, first)
    )


def _added(bounds: list[Bound], summary: Summary) -> Bound:
    """The bound of the whole: materials and thicknesses do not share stock, so bounds add up."""
    # A group in which nothing was placed bounds nothing, and its unpriced stock is not paid for.
    bounds = [bound for bound in bounds if bound.pieces] or bounds[:1]
    if len(bounds) == 1:
        return bounds[0]
    costs = [bound.cost for bound in bounds]
    priced = [cost for cost in costs if cost is not None]
    cost = sum(priced) if len(priced) == len(costs) else None
    area = sum(bound.area_mm2 for bound in bounds)
    # One group may be priced and another not: then the shares of both are of no use, and areas count.
    used, least = summary.stock_area_mm2, area
    if cost is not None and summary.material_cost is not None:
        used, least = summary.material_cost, cost
    return Bound(
        pieces=sum(bound.pieces for bound in bounds),
        area_mm2=area,
        cost=cost,
        gap_pieces=sum(bound.gap_pieces for bound in bounds),
        gap_share=max(0.0, used / least - 1) if least else 0.0,
        method="; ".join(dict.fromkeys(bound.method for bound in bounds)) or "nothing placed",
    )
