"""The ways to gauge a cut, each on one offcut, and what accuracy each leaves (trade primer, own example).

The offcut is 1000 × 500 with cut edges, up to 0.5 mm larger than that. One part 600 × 500 is cut from it,
so 0.5 mm is what its width carries in any case. Back gauge ±0.1, front stops ±0.3, marked line ±0.6.
"""

from __future__ import annotations

from typing import Any

import pytest

from service.engine.verifier import verify
from tests.engine.verifier.worked import goes, leaf, leaves, quality, split, step, worked_plan

PART = goes("part", "P1", 600.0, 500.0, 1)
REST = goes("offcut", None, 400.0, 500.0, 1)


def says(tolerance_mm: float, length: float, accuracy_mm: float) -> list[dict[str, Any]]:
    """What the plan claims of P1; its width is that of the offcut."""
    return [
        {**quality("length", length, tolerance_mm), "accuracy_mm": accuracy_mm},
        {**quality("width", 500.0, tolerance_mm), "accuracy_mm": 0.5, "gauged": "stock size"},
    ]


def offcut_plan(tolerance_mm: float, accuracy_mm: float = 0.1, **gauged: Any) -> dict[str, Any]:
    """One cut, or none when nothing is said of it."""
    plan = worked_plan()
    order = plan["order"]
    order["machine"].update(
        front_stops={"low_mm": 200.0, "high_mm": 800.0, "accuracy_mm": 0.3}, marked_line_accuracy_mm=0.6
    )
    order["stock"][0].update(
        length=1000.0, width=500.0, kind="offcut", edges="cut", oversize=0.5, price=12.0, quantity=1
    )
    order["parts"][0].update(width=500.0, quantity=1)
    order["parts"][0]["tolerance"].update(minus=tolerance_mm, plus=tolerance_mm)
    tree = split(
        "x",
        0.0,
        0.0,
        1000.0,
        500.0,
        [leaf("part", 0.0, 0.0, 600.0, 500.0, "P1"), leaf("offcut", 600.0, 0.0, 400.0, 500.0)],
    )
    plan["layouts"][0].update(tree=tree, placements=leaves(tree))
    cut = step(1, "1", 1, 500.0, 1000.0, "x", 600.0, piece_kg=11.775, lift="one person")
    plan["program"] = [{**cut, **gauged}]
    plan["quality"] = says(tolerance_mm, 600.0, accuracy_mm)
    plan["bound"].update(area_mm2=500000.0, cost=12.0)
    plan["summary"].update(
        sheets=0, offcuts_used=1, parts=1, stock_area_mm2=500000.0, parts_area_mm2=300000.0,
        offcut_area_mm2=200000.0, scrap_area_mm2=0.0, utilisation=1.0, parts_kg=7.065, scrap_kg=0.0,
        cut_metres=0.5, strokes=1, gauge_moves=1, settings_changes=1, turns=0, material_cost=12.0,
    )  # fmt: skip
    return plan


DROP_PART: dict[str, Any] = {"drop_to": [PART], "remainder_to": [REST]}
HELD_PART: dict[str, Any] = {"drop_to": [REST], "remainder_to": [PART]}
WAYS: dict[str, tuple[dict[str, Any], float]] = {
    "back gauge": (DROP_PART, 0.5),
    "back gauge from the far end": (
        {**HELD_PART, "gauge_mm": 400.0, "edge_end": "far", "accuracy_mm": 0.6},
        0.6,
    ),
    "front stop": (
        {**HELD_PART, "gauging": "front stop", "measured": "remainder", "accuracy_mm": 0.3},
        0.5,
    ),
    "marked line, part falls": ({**DROP_PART, "gauging": "marked line", "accuracy_mm": 0.6}, 0.6),
    "marked line, part is held": (
        {**HELD_PART, "gauging": "marked line", "measured": "remainder", "accuracy_mm": 0.6},
        0.6,
    ),
}


@pytest.mark.parametrize("way", WAYS)
def test_each_way_of_gauging_holds_its_own_tolerance(way: str) -> None:
    gauged, finest = WAYS[way]
    assert verify(offcut_plan(finest, **gauged)).faults == ()
    assert verify(offcut_plan(finest - 0.01, **gauged)).codes() == ("tolerance",)


def test_a_front_stop_outside_its_range_is_found() -> None:
    plan = offcut_plan(1.0, **WAYS["front stop"][0])
    plan["order"]["machine"]["front_stops"]["high_mm"] = 599.99
    assert verify(plan).codes() == ("gauge-range",)


def test_a_piece_is_held_by_its_remainder_whatever_side_is_measured() -> None:
    for way, held in (("front stop", 600.0), ("marked line, part falls", 400.0)):
        plan = offcut_plan(1.0, **WAYS[way][0])
        plan["order"]["machine"]["hold_down"]["clamping_depth_mm"] = held
        assert verify(plan).faults == ()
        plan["order"]["machine"]["hold_down"]["clamping_depth_mm"] = held + 0.01
        assert verify(plan).codes() == ("not-held",)


def test_a_remainder_cannot_be_cut_twice_to_one_size() -> None:
    plan = offcut_plan(1.0, **WAYS["front stop"][0])
    plan["program"][0]["repeat"] = 2
    assert "measured-side" in verify(plan).codes()


def test_a_drop_that_misses_the_gauge_is_not_gauged_by_it() -> None:
    """A cantilever of 600 mm in 1 mm steel: ρ·g·L³·12/(8·E·t²) = 76982·0.216·12/(8·2.1e11·1e-6) = 0.119.

    At 1.1 mm it is 0.098, below a tenth. The mass is wrong then, which is not the matter here.
    """
    plan = offcut_plan(1.0, **DROP_PART)
    plan["order"]["machine"]["sheet_support"] = False
    for thickness, missed in ((1.0, True), (1.1, False)):
        plan["order"]["stock"][0]["thickness"] = thickness
        assert ("gauge-missed" in verify(plan).codes()) == missed
    plan["order"]["stock"][0]["thickness"] = 1.0
    plan["order"]["machine"]["sheet_support"] = True
    assert "gauge-missed" not in verify(plan).codes()


def test_what_nothing_carries_is_cut_too_long_and_must_bear_it() -> None:
    """600 mm of 3 mm steel: δ = 76982·0.6⁴·12/(8·2.1e11·0.003²) = 7.918 mm; (4/7)·δ²/600 = 0.0597 mm.

    So what is gauged within ±0.1 mm comes out within ±0.16 mm.
    """
    for limit, accuracy, faults in (
        (0.5, 0.16, ()),
        (0.5, 0.15, ("quality",)),
        (0.5, 0.1, ("quality",)),
    ):
        plan = offcut_plan(limit, accuracy, **DROP_PART)
        plan["order"]["machine"]["sheet_support"] = False
        assert verify(plan).codes() == faults
    # The width is that of the offcut, which is no tighter than its 0.5 mm over size.
    plan["order"]["stock"][0]["oversize"] = 0.1
    plan["quality"][1].update(accuracy_mm=0.1)
    for limit, faults in ((0.16, ()), (0.15, ("tolerance",))):
        plan["order"]["parts"][0]["tolerance"].update(minus=limit, plus=limit)
        plan["quality"][0].update(accuracy_mm=0.16)
        for one in plan["quality"]:
            one.update(minus_mm=limit, plus_mm=limit)
        assert verify(plan).codes() == faults


def whole_offcut(**part: Any) -> dict[str, Any]:
    """A part that is the offcut as it lies in the rack: nothing is cut."""
    plan = offcut_plan(0.5)
    plan["order"]["parts"][0].update(length=1000.0, **part)
    tree = leaf("part", 0.0, 0.0, 1000.0, 500.0, "P1")
    plan["layouts"][0].update(tree=tree, placements=[tree])
    plan["program"] = []
    limit = part.get("tolerance", {"minus": 0.5})["minus"]
    plan["quality"] = says(limit, 1000.0, 0.5)
    plan["summary"].update(
        parts_area_mm2=500000.0, offcut_area_mm2=0.0, parts_kg=11.775, cut_metres=0.0, strokes=0,
        gauge_moves=0, settings_changes=0,
    )  # fmt: skip
    return plan


def test_a_piece_that_is_wanted_as_it_is_needs_no_cut() -> None:
    assert verify(whole_offcut()).faults == ()
    mill = whole_offcut()
    mill["order"]["stock"][0]["edges"] = "mill"
    assert verify(mill).codes() == ("mill-edge",)
    tight = whole_offcut(tolerance={"class": "m", "minus": 0.49, "plus": 0.49})
    assert verify(tight).codes() == ("tolerance",)
