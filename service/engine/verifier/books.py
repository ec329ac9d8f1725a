"""What a plan says about itself, counted again: demand, summary, bound and names."""

from __future__ import annotations

from collections import Counter
from decimal import Decimal

from service.engine.verifier.facts import Plan, Stated, Stock
from service.engine.verifier.faults import Faults, shown
from service.engine.verifier.limits import mass_kg
from service.engine.verifier.replay import Replay
from service.engine.verifier.tolerances import aim, aimed, limits

_HEX = frozenset("0123456789abcdef")
_ROUNDED = 1 + Decimal("1e-9")
"""A bound that was worked out in floats may lie a hair above the exact figure."""
_CHANCE = Decimal("0.000001")
"""Chances are stated in six digits."""
_MM2 = 10_000
"""Squared hundredths of a millimetre in a square millimetre."""


def check_books(plan: Plan, replay: Replay, faults: Faults) -> None:
    """Demand, summary and bound against the replay."""
    _check_names(plan, faults)
    _check_demand(plan, replay, faults)
    used = _Used.count(plan, replay)
    _check_summary(plan, replay, used, faults)
    _check_bound(plan, used, faults)
    _check_most_worth(plan, replay, faults)
    _check_quality(plan, replay, faults)


class _Used:
    """Stock used, by the replay."""

    def __init__(self) -> None:
        self.sheets = 0
        self.offcuts = 0
        self.area = 0
        self.cost: Decimal | None = Decimal(0)
        self.all_stated = True
        self.kg = Decimal(0)

    @classmethod
    def count(cls, plan: Plan, replay: Replay) -> _Used:
        used = cls()
        for number, count in replay.taken.items():
            item = plan.stock.get(plan.sheets[number].stock_ref)
            if item is None:
                continue
            if item.kind == "sheet":
                used.sheets += count
            else:
                used.offcuts += count
            used.area += item.length * item.width * count
            used.all_stated = used.all_stated and item.price is not None
            price = item.price if item.price is not None else _paid_for(plan, item)
            used.cost = None if used.cost is None or price is None else used.cost + price * count
            grade = plan.grades.get(item.material)
            if grade is not None:
                used.kg += mass_kg(item.length * item.width * count, item.thickness, grade)
        return used

    @property
    def pieces(self) -> int:
        return self.sheets + self.offcuts


def _paid_for(plan: Plan, piece: Stock) -> Decimal | None:
    """Nothing for an offcut without a price where the price of each sheet, and some price, is known."""
    beside = [
        one
        for one in plan.stock.values()
        if one.quantity > 0 and (one.material, one.thickness) == (piece.material, piece.thickness)
    ]
    unknown = any(one.kind == "sheet" and one.price is None for one in beside)
    known = any(one.price is not None for one in beside)
    return Decimal(0) if piece.kind == "offcut" and known and not unknown else None


def _check_names(plan: Plan, faults: Faults) -> None:
    faults.unless(
        len(plan.fingerprint) == 64 and set(plan.fingerprint) <= _HEX,
        "fingerprint",
        "/fingerprint",
        "64 hexadecimal digits are wanted",
    )
    faults.unless(
        plan.order_ref == plan.ordered_as, "order-ref", "/order_ref", "the plan answers another order"
    )
    faults.unless(
        plan.machine_id == plan.ordered_machine, "machine", "/machine_id", "the plan is for another machine"
    )
    for stop in plan.stops:
        faults.add("stop", "/findings", f"the plan is forbidden by its own finding: {stop}")


def _check_demand(plan: Plan, replay: Replay, faults: Faults) -> None:
    missing: Counter[str] = Counter()
    for index, one in enumerate(plan.missing):
        where = f"/unplaced/{index}"
        faults.unless(one.ref in plan.wanted, "unplaced", f"{where}/ref", f"nobody ordered {one.ref!r}")
        faults.unless(one.quantity > 0, "unplaced", f"{where}/quantity", "none is unplaced; leave it out")
        faults.unless(
            bool(one.reason.strip() and one.code.strip()), "unplaced", f"{where}/reason", "a reason is wanted"
        )
        missing[one.ref] += one.quantity
    for index, part in enumerate(plan.wanted.values()):
        made, lacking = replay.parts[part.ref], missing[part.ref]
        faults.unless(
            made + lacking == part.quantity,
            "demand",
            f"/order/parts/{index}",
            f"{part.quantity} of {part.ref!r} are wanted: {made} are made and {lacking} stated as unplaced",
        )


def _close(stated: Decimal, counted: Decimal, slack: Decimal) -> bool:
    return abs(stated - counted) <= abs(counted) / 10**6 + slack


def _check_summary(plan: Plan, replay: Replay, used: _Used, faults: Faults) -> None:
    program, figures = plan.program, plan.figures
    areas: Counter[str] = Counter()
    part_kg = Decimal(0)
    for number, endings in replay.ended.items():
        sheet = plan.sheets[number]
        grade = plan.grades.get(sheet.material)
        for (kind, _, dx, dy), count in endings.items():
            areas[kind] += dx * dy * count
            if kind == "part" and grade is not None:
                part_kg += mass_kg(dx * dy * count, sheet.thickness, grade)
    offcut_kg = Decimal(0)
    for number, endings in replay.ended.items():
        sheet = plan.sheets[number]
        grade = plan.grades.get(sheet.material)
        if grade is not None:
            area = sum(dx * dy * count for (kind, _, dx, dy), count in endings.items() if kind == "offcut")
            offcut_kg += mass_kg(area, sheet.thickness, grade)
    counts = {
        "sheets": used.sheets,
        "offcuts_used": used.offcuts,
        "parts": sum(replay.parts.values()),
        "strokes": sum(step.strokes for step in program),
        "gauge_moves": _changes([(step.gauging, step.gauge) for step in program]),
        "turns": sum(step.turn != "none" for step in program),
        "settings_changes": _changes([(step.gap, step.rake_deg) for step in program]),
    }
    for name, counted in counts.items():
        stated = figures.counts[name]
        faults.unless(
            stated == counted, "summary", f"/summary/{name}", f"counted again it is {counted}, not {stated}"
        )
    spent = used.area - areas["offcut"]
    amounts = {
        "stock_area_mm2": Decimal(used.area) / _MM2,
        "parts_area_mm2": Decimal(areas["part"]) / _MM2,
        "offcut_area_mm2": Decimal(areas["offcut"]) / _MM2,
        "scrap_area_mm2": Decimal(spent - areas["part"]) / _MM2,
        "utilisation": Decimal(areas["part"]) / spent if spent > 0 else Decimal(0),
        "parts_kg": part_kg,
        "scrap_kg": used.kg - part_kg - offcut_kg,
        "cut_metres": Decimal(replay.cut_length) / 100_000,
    }
    slack = Decimal("0.000001")
    for name, amount in amounts.items():
        faults.unless(
            _close(figures.amounts[name], amount, slack),
            "summary",
            f"/summary/{name}",
            f"counted again it is {amount:.6f}, not {figures.amounts[name]}",
        )
    handling = (
        3 * (counts["gauge_moves"] + counts["turns"])
        + counts["strokes"]
        + len({(step.gauging, step.gauge) for step in program})
    )
    for name, told, counted in (
        ("handling", figures.handling, handling),
        ("most_waiting", figures.most_waiting, replay.most_waiting),
    ):
        # Earlier engines did not tell them.
        faults.unless(
            told is None or told == counted,
            "summary",
            f"/summary/{name}",
            f"counted again it is {counted}, not {told}",
        )
    worth = _worth(plan, replay)
    faults.unless(
        figures.worth is None or _close(figures.worth, worth, slack),
        "summary",
        "/summary/worth",
        f"the parts that are made are worth {worth}, not {figures.worth}",
    )
    # Earlier engines took the cost for unknown where an offcut without a price is used.
    cost = figures.material_cost
    faults.unless(
        (used.cost is None or not used.all_stated)
        if cost is None
        else used.cost is not None and _close(cost, used.cost, slack),
        "summary",
        "/summary/material_cost",
        f"the stock used costs {used.cost}",
    )


def _changes(values: list[tuple[object, ...]]) -> int:
    """How often a value differs from the one before; the first counts."""
    return sum(index == 0 or value != values[index - 1] for index, value in enumerate(values))


def _check_bound(plan: Plan, used: _Used, faults: Faults) -> None:
    least, slack = plan.least, Decimal("0.000001")
    area = Decimal(used.area) / _MM2
    faults.unless(
        least.pieces <= used.pieces,
        "bound",
        "/bound/pieces",
        f"{used.pieces} pieces are used, so {least.pieces} is no lower bound",
    )
    faults.unless(
        least.area_mm2 <= area * _ROUNDED,
        "bound",
        "/bound/area_mm2",
        f"{area} mm² are used, so {least.area_mm2} is no lower bound",
    )
    faults.unless(
        least.gap_pieces == used.pieces - least.pieces,
        "bound",
        "/bound/gap_pieces",
        f"{used.pieces} used less {least.pieces} is not {least.gap_pieces}",
    )
    value, bound = area, least.area_mm2
    if least.cost is not None:
        faults.unless(
            used.cost is not None and least.cost <= used.cost * _ROUNDED,
            "bound",
            "/bound/cost",
            f"the stock used costs {used.cost}, so {least.cost} is no lower bound",
        )
    # Above a bound of nothing, what is paid is no share; then the areas are compared.
    if least.cost is not None and used.cost is not None and (least.cost > 0 or used.cost == 0):
        value, bound = used.cost, least.cost
    share = (value - bound) / bound if bound > 0 else Decimal(0)
    faults.unless(
        _close(least.gap_share, share, slack),
        "bound",
        "/bound/gap_share",
        f"the plan lies {share:.6f} above its bound, not {least.gap_share}",
    )


def _check_most_worth(plan: Plan, replay: Replay, faults: Faults) -> None:
    most = plan.least.value
    if most is None:
        return
    worth = _worth(plan, replay)
    faults.unless(
        worth <= most * _ROUNDED,
        "bound",
        "/bound/value",
        f"the parts that are made are worth {worth}, so {most} is not the most they can be",
    )
    below = max(1 - worth / most, Decimal(0)) if most else Decimal(0)
    stated = plan.least.gap_value
    faults.unless(
        stated is None or _close(stated, below, Decimal("0.000001")),
        "bound",
        "/bound/gap_value",
        f"what is made is worth {below:.6f} less than the most, not {stated}",
    )


def _worth(plan: Plan, replay: Replay) -> Decimal:
    """What the parts that are made are worth together."""
    return sum((part.value * replay.parts[part.ref] for part in plan.wanted.values()), Decimal(0))


def _check_quality(plan: Plan, replay: Replay, faults: Faults) -> None:
    """What the plan says of the accuracy of its parts, against the errors that the replay added up."""
    stated = {(one.ref, one.dimension): one for one in plan.quality}
    faults.unless(len(stated) == len(plan.quality), "quality", "/quality", "a dimension is there twice")
    for ref, dimension in replay.worst:
        faults.unless(
            (ref, dimension) in stated,
            "quality",
            "/quality",
            f"the {dimension} of {ref!r} is missing",
        )
    for index, one in enumerate(plan.quality):
        where, part = f"/quality/{index}", plan.wanted.get(one.ref)
        worst = replay.worst.get((one.ref, one.dimension))
        if part is None or worst is None:
            faults.add("quality", where, f"no part {one.ref!r} is made")
            continue
        size = part.length if one.dimension == "length" else part.width
        claimed = one.accuracy
        other = stated.get((one.ref, "width" if one.dimension == "length" else "length"))
        if len(set(aimed(part))) == 1 and other is not None:
            # Nobody can say which side of a square is its length.
            worst = max(replay.worst[one.ref, side] for side in ("length", "width"))
            claimed = max(claimed, other.accuracy)
        faults.unless(one.size == size, "quality", f"{where}/size_mm", f"it is {shown(size)} mm")
        faults.unless(
            one.aim == aim(part, size),
            "quality",
            f"{where}/aim_mm",
            f"it is cut for {shown(aim(part, size))} mm",
        )
        faults.unless(
            claimed == worst,
            "quality",
            f"{where}/accuracy_mm",
            f"the worst {one.dimension} of {one.ref!r} comes out to ±{shown(worst)}, not ±{shown(claimed)}",
        )
        faults.unless(
            (one.minus, one.plus) == limits(part, size),
            "quality",
            where,
            f"the limits of {one.ref!r} are not those of the order",
        )
        faults.unless(
            one.inside is None or one.inside <= 1, "quality", f"{where}/inside", "more than the whole of them"
        )
        _check_chances(one, replay.parts[one.ref], where, faults)


def _check_chances(one: Stated, made: int, where: str, faults: Faults) -> None:
    """Whether what is said of all the parts agrees with what is said of the worst placed one."""
    faults.unless(
        one.count in {None, made}, "quality", f"{where}/count", f"{made} are made, the plan says {one.count}"
    )
    if one.inside is None:
        return
    if one.outside is not None:
        least, most = 1 - one.inside, made * (1 - one.inside)
        faults.unless(
            least - _CHANCE <= one.outside <= most + made * _CHANCE,
            "quality",
            f"{where}/outside",
            f"between {least} and {most} of {made} lie outside, not {one.outside}",
        )
    if one.all_inside is not None:
        # No part is worse than the worst placed; Decimal powers are rounded alike everywhere.
        least = one.inside**made
        faults.unless(
            least - made * _CHANCE <= one.all_inside <= one.inside + _CHANCE,
            "quality",
            f"{where}/all_inside",
            f"the chance of all lies between {least:.6f} and that of the worst placed, {one.inside}",
        )
