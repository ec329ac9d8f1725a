"""From parsed JSON to the verifier's own picture of a plan; every slip becomes a fault.

Millimetres are turned into whole hundredths by the decimal digits of the JSON number, so that
118.5 is 11850 exactly; a number with more than two decimals is refused.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from decimal import Decimal
from typing import Any, TypeVar

from service.engine.verifier.facts import (
    Box,
    Cut,
    Figures,
    Goes,
    Grade,
    Least,
    Missing,
    Plan,
    Range,
    Shear,
    Sheet,
    Stated,
    Stock,
    Tree,
    Wanted,
    Wishes,
)
from service.engine.verifier.faults import Faults

_Read = TypeVar("_Read")

DEEPEST = 60
"""Levels of a layout tree; no shop turns a sheet that often."""
LARGEST = 10**9
"""Numbers beyond this are slips, in whatever unit."""

LEAVES = ("part", "offcut", "scrap", "trim")
COUNTED = ("sheets", "offcuts_used", "parts", "strokes", "gauge_moves", "settings_changes", "turns")
MEASURED = (
    "stock_area_mm2",
    "parts_area_mm2",
    "offcut_area_mm2",
    "scrap_area_mm2",
    "utilisation",
    "parts_kg",
    "scrap_kg",
    "cut_metres",
)


class _SlipError(Exception):
    """Something in the document is not what the contract says; stays inside this module."""

    def __init__(self, where: str, message: str) -> None:
        super().__init__(message)
        self.where = where
        self.message = message


class _At:
    """A JSON value and the place where it stands."""

    __slots__ = ("value", "where")

    def __init__(self, value: Any, where: str) -> None:
        self.value = value
        self.where = where

    def slip(self, wanted: str) -> _SlipError:
        return _SlipError(self.where, f"{wanted} is wanted")

    def has(self, name: str) -> bool:
        return self.of(name, optional=True).value is not None

    def of(self, name: str, *, optional: bool = False) -> _At:
        if not isinstance(self.value, Mapping):
            raise self.slip("an object")
        if name not in self.value and not optional:
            raise _SlipError(f"{self.where}/{name}", "is missing")
        return _At(self.value.get(name), f"{self.where}/{name}")

    def each(self) -> Iterator[_At]:
        if not isinstance(self.value, list | tuple):
            raise self.slip("a list")
        for index, value in enumerate(self.value):
            yield _At(value, f"{self.where}/{index}")

    def number(self) -> Decimal:
        value = self.value
        if isinstance(value, bool) or not isinstance(value, int | float | Decimal):
            raise self.slip("a number")
        if not (isinstance(value, int) or math.isfinite(value)):
            raise self.slip("a finite number")
        return Decimal(value) if isinstance(value, int) else Decimal(str(value))

    def amount(self) -> Decimal:
        """A number that is not negative."""
        number = self.number()
        if number < 0:
            raise self.slip("a number that is not negative")
        return number

    def maybe_amount(self) -> Decimal | None:
        return None if self.value is None else self.amount()

    def whole(self, least: int = 0) -> int:
        number = self.number()
        if number != number.to_integral_value() or not least <= number <= LARGEST:
            raise self.slip(f"a whole number from {least}")
        return int(number)

    def mm(self, least: int = 1) -> int:
        number = self.number()
        if not -LARGEST <= number <= LARGEST:
            raise self.slip("a length below 1000 km")
        hundredths = number * 100
        if hundredths != hundredths.to_integral_value():
            raise self.slip("a length in whole hundredths of a millimetre")
        if hundredths < least:
            raise self.slip(f"a length of at least {least} hundredths of a millimetre")
        return int(hundredths)

    def text(self) -> str:
        if not isinstance(self.value, str):
            raise self.slip("text")
        return self.value

    def word(self, *words: str) -> str:
        text = self.text()
        if text not in words:
            raise self.slip(f"one of {', '.join(words)}")
        return text

    def flag(self) -> bool:
        if not isinstance(self.value, bool):
            raise self.slip("true or false")
        return self.value


def read_document(document: Any, faults: Faults) -> Plan | None:
    """Read a plan document; None when anything in it is not what the contract says."""
    top = _At(document, "")
    notes = len(faults.found())

    def attempt(read: Callable[[_At], _Read], at: Callable[[], _At]) -> _Read | None:
        try:
            return read(at())
        except _SlipError as slip:
            faults.add("malformed", slip.where, slip.message)
            return None

    def listed(read: Callable[[_At], _Read], at: Callable[[], _At]) -> list[_Read]:
        entries = attempt(lambda many: list(many.each()), at) or []
        found = [attempt(read, lambda entry=entry: entry) for entry in entries]  # type: ignore[misc]
        return [one for one in found if one is not None]

    def order() -> _At:
        return top.of("order")

    names = attempt(_names, lambda: top)
    shear = attempt(_shear, lambda: order().of("machine"))
    grades = attempt(_grades, lambda: order().of("materials"))
    wanted = listed(_wanted, lambda: order().of("parts"))
    stock = listed(_stock, lambda: order().of("stock"))
    wishes = attempt(_wishes, lambda: order().of("options"))
    sheets = listed(_sheet, lambda: top.of("layouts"))
    program = listed(_cut, lambda: top.of("program"))
    missing = listed(_missing, lambda: top.of("unplaced"))
    least = attempt(_least, lambda: top.of("bound"))
    figures = attempt(_figures, lambda: top.of("summary"))
    quality = listed(_stated, lambda: top.of("quality"))
    stops = attempt(_stops, lambda: top.of("findings"))
    for what, refs in (
        ("/order/parts", [one.ref for one in wanted]),
        ("/order/stock", [one.ref for one in stock]),
        ("/layouts", [str(one.number) for one in sheets]),
    ):
        faults.unless(len(set(refs)) == len(refs), "malformed", what, "a name or number is there twice")
    if len(faults.found()) > notes or not (
        names is not None
        and shear is not None
        and grades is not None
        and wishes is not None
        and least is not None
        and figures is not None
        and stops is not None
    ):
        return None
    return Plan(
        **names,
        shear=shear,
        grades=grades,
        wanted={one.ref: one for one in wanted},
        stock={one.ref: one for one in stock},
        wishes=wishes,
        sheets={one.number: one for one in sheets},
        program=tuple(program),
        missing=tuple(missing),
        least=least,
        figures=figures,
        quality=tuple(quality),
        stops=stops,
    )


def _names(top: _At) -> dict[str, str]:
    order = top.of("order")
    if order.has("units"):
        order.of("units").word("mm")
    top.of("stopped_early").flag()
    for line in top.of("cautions").each():
        line.text()
    return {
        "order_ref": top.of("order_ref").text(),
        "ordered_as": order.of("order_ref").text(),
        "machine_id": top.of("machine_id").text(),
        "ordered_machine": order.of("machine").of("id").text(),
        "fingerprint": top.of("fingerprint").text(),
    }


_ONE_PERSON = (250_000, 100_000)
"""Longest and widest piece of one person in profiles that do not say: the default of the contract."""


def _size_or(at: _At, usual: int) -> int:
    return usual if at.value is None else at.mm()


def _shear(at: _At) -> Shear:
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


def _grades(at: _At) -> dict[str, Grade]:
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


def _bands(at: _At) -> tuple[tuple[int, Decimal], ...]:
    # Plans made before strengths were told by thickness have none.
    if at.value is None:
        return ()
    return tuple((one.of("begins_mm").mm(), one.of("rm_high_n_mm2").amount()) for one in at.each())


def _wanted(at: _At) -> Wanted:
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


def _stock(at: _At) -> Stock:
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


def _wishes(at: _At) -> Wishes:
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


def _box(at: _At, kind: str) -> Box:
    part = kind == "part"
    return Box(
        kind=kind,
        ref=at.of("ref").text() if part else None,
        x=at.of("x_mm").mm(0),
        y=at.of("y_mm").mm(0),
        dx=at.of("length_mm").mm(),
        dy=at.of("width_mm").mm(),
        rotated=at.of("rotated").flag() if part else False,
    )


def _tree(at: _At, depth: int = 0) -> Tree:
    if depth > DEEPEST:
        raise at.slip(f"a tree of at most {DEEPEST} levels")
    kind = at.of("kind").word("split", *LEAVES)
    box = _box(at, kind)
    if kind != "split":
        return Tree(at.where, box, None, ())
    children = tuple(_tree(child, depth + 1) for child in at.of("children").each())
    if not children:
        raise at.of("children").slip("at least one child")
    return Tree(at.where, box, at.of("axis").word("x", "y"), children)


def _sheet(at: _At) -> Sheet:
    placements = at.of("placements", optional=True)
    return Sheet(
        number=at.of("number").whole(1),
        stock_ref=at.of("stock_ref").text(),
        material=at.of("material").text(),
        thickness=at.of("thickness_mm").mm(),
        repeat=at.of("repeat").whole(1),
        tree=_tree(at.of("tree")),
        placements=None
        if placements.value is None
        else tuple(_box(one, one.of("kind").word(*LEAVES)) for one in placements.each()),
    )


def _goes(at: _At) -> Goes:
    kind = at.of("kind").word("piece", *LEAVES)
    named = kind in ("part", "piece")
    return Goes(
        kind=kind,
        ref=at.of("ref").text() if named else None,
        dx=at.of("length_mm").mm(),
        dy=at.of("width_mm").mm(),
        count=at.of("count").whole(1),
    )


def _stops(at: _At) -> tuple[str, ...]:
    """Codes of the findings that forbid."""
    found = [
        (one.of("level").word("stop", "caution", "note"), one.of("code").text(), one.of("message").text())
        for one in at.each()
    ]
    return tuple(f"{code}: {message}" for level, code, message in found if level == "stop")


def _cut(at: _At) -> Cut:
    settings = at.of("settings")
    settings.of("stroke_mm").mm()
    settings.of("hold_down_kn").maybe_amount()
    return Cut(
        number=at.of("step").whole(1),
        layout=at.of("layout").whole(1),
        piece=at.of("piece").text(),
        pieces=at.of("pieces").whole(1),
        along_blade=at.of("along_blade_mm").mm(),
        depth=at.of("depth_mm").mm(),
        axis=at.of("axis").word("x", "y"),
        edge_end=at.of("edge_end").word("near", "far"),
        edge_state=at.of("edge_state").word("mill", "cut"),
        turn=at.of("turn").word("none", "quarter", "half"),
        squared=at.of("squared").flag(),
        gauging=at.of("gauging").word("back gauge", "front stop", "marked line"),
        gauge=at.of("gauge_mm").mm(),
        measured=at.of("measured").word("drop", "remainder"),
        repeat=at.of("repeat").whole(1),
        gang=at.of("gang").whole(1),
        strokes=at.of("strokes").whole(1),
        gap=settings.of("gap_mm").mm(0),
        rake_deg=settings.of("rake_deg").amount(),
        relief=settings.of("relief").flag(),
        sheet_support=settings.of("sheet_support").flag(),
        force_kn=at.of("force_kn").amount(),
        rating_share=at.of("rating_share").amount(),
        piece_kg=at.of("piece_kg").amount(),
        lift=at.of("lift").word("one person", "two people", "crane"),
        drops=tuple(_goes(one) for one in at.of("drop_to").each()),
        remainders=tuple(_goes(one) for one in at.of("remainder_to").each()),
        stops=_stops(at.of("findings")) + _stops(settings.of("findings")),
        remarks=frozenset(one.of("code").text() for one in at.of("findings").each()),
    )


def _missing(at: _At) -> Missing:
    return Missing(
        at.of("ref").text(), at.of("quantity").whole(), at.of("code").text(), at.of("reason").text()
    )


def _stated(at: _At) -> Stated:
    at.of("gauged").word("back gauge", "front stop", "marked line", "remainder", "stock size")
    _stops(at.of("findings"))
    return Stated(
        ref=at.of("ref").text(),
        dimension=at.of("dimension").word("length", "width"),
        size=at.of("size_mm").mm(),
        aim=at.of("size_mm" if at.of("aim_mm", optional=True).value is None else "aim_mm").mm(),
        accuracy=at.of("accuracy_mm").mm(0),
        minus=at.of("minus_mm").mm(0),
        plus=at.of("plus_mm").mm(0),
        inside=at.of("inside").maybe_amount(),
        count=_maybe_whole(at, "count"),
        outside=at.of("outside", optional=True).maybe_amount(),
        all_inside=at.of("all_inside", optional=True).maybe_amount(),
    )


def _least(at: _At) -> Least:
    at.of("method").text()
    return Least(
        pieces=at.of("pieces").whole(),
        area_mm2=at.of("area_mm2").amount(),
        cost=at.of("cost").maybe_amount(),
        gap_pieces=at.of("gap_pieces").whole(),
        gap_share=at.of("gap_share").number(),
        value=at.of("value", optional=True).maybe_amount(),
        gap_value=at.of("gap_value", optional=True).maybe_amount(),
    )


def _figures(at: _At) -> Figures:
    at.of("minutes").amount()
    at.of("time_cost").amount()
    return Figures(
        counts={name: at.of(name).whole() for name in COUNTED},
        amounts={name: at.of(name).amount() for name in MEASURED},
        material_cost=at.of("material_cost").maybe_amount(),
        handling=_maybe_whole(at, "handling"),
        most_waiting=_maybe_whole(at, "most_waiting"),
        worth=at.of("worth", optional=True).maybe_amount(),
    )


def _maybe_whole(at: _At, name: str) -> int | None:
    return None if at.of(name, optional=True).value is None else at.of(name).whole()
