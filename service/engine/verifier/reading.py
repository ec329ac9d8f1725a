"""From parsed JSON to the verifier's own picture of a plan; every slip becomes a fault."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

from service.engine.verifier.facts import (
    Box,
    Cut,
    Figures,
    Goes,
    Least,
    Missing,
    Plan,
    Sheet,
    Stated,
    Tree,
)
from service.engine.verifier.faults import Faults
from service.engine.verifier.ordered import read_grades, read_shear, read_stock, read_wanted, read_wishes
from service.engine.verifier.values import At, SlipError

_Read = TypeVar("_Read")

DEEPEST = 60
"""Levels of a layout tree; no shop turns a sheet that often."""

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


def read_document(document: Any, faults: Faults) -> Plan | None:
    """Read a plan document; None when anything in it is not what the contract says."""
    top = At(document, "")
    notes = len(faults.found())

    def attempt(read: Callable[[At], _Read], at: Callable[[], At]) -> _Read | None:
        try:
            return read(at())
        except SlipError as slip:
            faults.add("malformed", slip.where, slip.message)
            return None

    def listed(read: Callable[[At], _Read], at: Callable[[], At]) -> list[_Read]:
        entries = attempt(lambda many: list(many.each()), at) or []
        found = [attempt(read, lambda entry=entry: entry) for entry in entries]  # type: ignore[misc]
        return [one for one in found if one is not None]

    def order() -> At:
        return top.of("order")

    names = attempt(_names, lambda: top)
    shear = attempt(read_shear, lambda: order().of("machine"))
    grades = attempt(read_grades, lambda: order().of("materials"))
    wanted = listed(read_wanted, lambda: order().of("parts"))
    stock = listed(read_stock, lambda: order().of("stock"))
    wishes = attempt(read_wishes, lambda: order().of("options"))
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


def _names(top: At) -> dict[str, str]:
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


def _box(at: At, kind: str) -> Box:
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


def _tree(at: At, depth: int = 0) -> Tree:
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


def _sheet(at: At) -> Sheet:
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


def _goes(at: At) -> Goes:
    kind = at.of("kind").word("piece", *LEAVES)
    named = kind in ("part", "piece")
    return Goes(
        kind=kind,
        ref=at.of("ref").text() if named else None,
        dx=at.of("length_mm").mm(),
        dy=at.of("width_mm").mm(),
        count=at.of("count").whole(1),
    )


def _stops(at: At) -> tuple[str, ...]:
    """Codes of the findings that forbid."""
    found = [
        (one.of("level").word("stop", "caution", "note"), one.of("code").text(), one.of("message").text())
        for one in at.each()
    ]
    return tuple(f"{code}: {message}" for level, code, message in found if level == "stop")


def _cut(at: At) -> Cut:
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


def _missing(at: At) -> Missing:
    return Missing(
        at.of("ref").text(), at.of("quantity").whole(), at.of("code").text(), at.of("reason").text()
    )


def _stated(at: At) -> Stated:
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


def _least(at: At) -> Least:
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


def _figures(at: At) -> Figures:
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


def _maybe_whole(at: At, name: str) -> int | None:
    return None if at.of(name, optional=True).value is None else at.of(name).whole()
