"""The order inside a plan document: machine, grades, parts, stock and wishes, as the verifier sees them."""

from __future__ import annotations

from decimal import Decimal

from service.engine.verifier.facts import Grade, Range, Shear, Stock, Wanted, Wishes
from service.engine.verifier.values import At

_ONE_PERSON = (250_000, 100_000)
"""Longest and widest piece of one person in profiles that do not say: the default of the contract."""


def _size_or(at: At, usual: int) -> int:
    return usual if at.value is None else at.mm()


def read_shear(at: At) -> Shear:
    """The machine."""
    rating, rake, gap, gauge = at.of("rating"), at.of("rake"), at.of("gap"), at.of("back_gauge")
    hold, stops, lifting = at.of("hold_down"), at.of("front_stops", optional=True), at.of("lifting")
    line = at.of("marked_line_accuracy_mm", optional=True)
    thickest = at.of("max_thickness_mm", optional=True)
    return Shear(
        cutting_length=at.of("cutting_length_mm").mm(),
        rated_thickness=rating.of("thickness_mm").mm(),
        rated_rm=rating.of("rm_n_mm2").amount(),
        force_limit_kn=at.of("force_limit_kn", optional=True).maybe_amount(),
        max_thickness=None if thickest.value is None else thickest.mm(),
        rake=(rake.of("low_deg").amount(), rake.of("high_deg").amount()),
        gap=Range(gap.of("low_mm").mm(0), gap.of("high_mm").mm(0)),
        back_gauge=Range(
            gauge.of("low_mm").mm(0),
            gauge.of("high_mm").mm(0),
            gauge.of("step_mm").mm(0),
            gauge.of("accuracy_mm").mm(0),
        ),
        front_stops=None
        if stops.value is None
        else Range(
            stops.of("low_mm").mm(0), stops.of("high_mm").mm(0), accuracy=stops.of("accuracy_mm").mm(0)
        ),
        marked_line_accuracy=None if line.value is None else line.mm(0),
        clamping_depth=hold.of("clamping_depth_mm").mm(0),
        feet=tuple(sorted(foot.mm(0) for foot in hold.of("feet_mm").each())),
        foot_width=hold.of("foot_width_mm").mm(0),
        squaring_arm=at.of("squaring_arm_mm").mm(0),
        smallest_drop=at.of("smallest_drop_mm").mm(0),
        sheet_support=at.of("sheet_support").flag(),
        relief=at.of("relief").flag(),
        gauge_clears=at.of("gauge_clears").flag(),
        one_person_kg=lifting.of("one_person_kg").amount(),
        two_people_kg=lifting.of("two_people_kg").amount(),
        crane_kg=lifting.of("crane_kg", optional=True).maybe_amount(),
        one_person_length=_size_or(lifting.of("one_person_length_mm", optional=True), _ONE_PERSON[0]),
        one_person_width=_size_or(lifting.of("one_person_width_mm", optional=True), _ONE_PERSON[1]),
    )


def read_grades(at: At) -> dict[str, Grade]:
    """The materials by name."""
    return {
        one.of("grade").text(): Grade(
            one.of("rm_high_n_mm2").amount(),
            one.of("density_kg_m3").amount(),
            one.of("shearable").flag(),
            one.of("youngs_modulus_n_mm2").amount(),
            _bands(one.of("strength_bands", optional=True)),
        )
        for one in at.each()
    }


def _bands(at: At) -> tuple[tuple[int, Decimal], ...]:
    # Plans made before strengths were told by thickness have none.
    if at.value is None:
        return ()
    return tuple((one.of("begins_mm").mm(), one.of("rm_high_n_mm2").amount()) for one in at.each())


def read_wanted(at: At) -> Wanted:
    """A line of the parts."""
    tolerance = at.of("tolerance")
    minus, plus = (tolerance.of(name, optional=True) for name in ("minus", "plus"))
    return Wanted(
        ref=at.of("ref").text(),
        length=at.of("length").mm(),
        width=at.of("width").mm(),
        quantity=at.of("quantity").whole(1),
        material=at.of("material").text(),
        thickness=at.of("thickness").mm(),
        grain=at.of("grain").word("any", "along", "across"),
        tolerance_class=tolerance.of("class").word("f", "m", "c", "v"),
        limits=(None if minus.value is None else minus.mm(0), None if plus.value is None else plus.mm(0)),
        value=at.of("value", optional=True).maybe_amount() or Decimal(0),
    )


def read_stock(at: At) -> Stock:
    """A line of the stock."""
    return Stock(
        ref=at.of("ref").text(),
        length=at.of("length").mm(),
        width=at.of("width").mm(),
        quantity=at.of("quantity").whole(),
        material=at.of("material").text(),
        thickness=at.of("thickness").mm(),
        kind=at.of("kind").word("sheet", "offcut"),
        edges=at.of("edges").word("mill", "cut"),
        oversize=at.of("oversize").mm(0),
        price=at.of("price", optional=True).maybe_amount(),
        certified=at.of("tensile_strength_n_mm2", optional=True).maybe_amount(),
    )


def read_wishes(at: At) -> Wishes:
    """The options as far as a plan must keep them."""
    sides = sorted(side.mm(0) for side in at.of("offcut_min").each())
    if len(sides) != 2:
        raise at.of("offcut_min").slip("a list of two lengths")
    stacks = at.of("open_stacks", optional=True)
    return Wishes(
        at.of("max_stages").whole(1),
        at.of("trim_mm").mm(0),
        (sides[1], sides[0]),
        None if stacks.value is None else stacks.whole(1),
    )
