"""The picture of a layout: complete, true to scale, legible, and the same every time."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from dataclasses import replace
from itertools import combinations
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.drawing.cuts import CutLine, DrawingError, cut_lines
from service.drawing.fields import Field, fields_of, outside
from service.drawing.lettering import Box, fit, text_width, wrap
from service.drawing.svg import layout_svg
from service.engine.machine import BackGauge
from service.engine.order import Order
from service.engine.plan import CutPlan, leaves
from service.engine.quantities import mm

from ._plans import BENCH, part, plan_of, sheet

SVG = "{http://www.w3.org/2000/svg}"


def strip(*parts: tuple[int, float, str], last: float, kind: str = "scrap"):
    cuts = [(5, "trim")]
    for count, size, ref in parts:
        cuts += [(size, ref)] * count
    return ("x", [*cuts, (last, kind)])


def by_hand() -> tuple[CutPlan, Order]:
    """The plan worked by hand in the trade's primer, twice over, with a third strip of another part."""
    return plan_of(
        [part("P1", 600, 300, 16), part("Q<&>\"'\x07", 300, 200, 6)],
        [sheet("SH-A", 2500, 1250, 2, heat="H 77310")],
        [
            (
                "SH-A",
                2,
                (
                    "y",
                    [
                        (5, "trim"),
                        (300, strip((4, 600, "P1"), last=95)),
                        (300, strip((4, 600, "P1"), last=95)),
                        (200, strip((3, 300, "Q<&>\"'\x07"), last=1595, kind="offcut")),
                        (445, "offcut"),
                    ],
                ),
            )
        ],
    )


def crowded() -> tuple[CutPlan, Order]:
    return plan_of(
        [part("A-LONG-REFERENCE-FOR-A-SMALL-PART", 20, 20, 9999), part("B", 20, 20, 9999)],
        [sheet("SH-D", 1000, 500, 1, edges="cut")],
        [
            (
                "SH-D",
                1,
                (
                    "y",
                    [(20, ("x", [(20, "A-LONG-REFERENCE-FOR-A-SMALL-PART")] * 48 + [(40, "scrap")]))] * 12
                    + [(20, ("x", [(20, "B")] * 48 + [(40, "scrap")]))] * 10
                    + [(60, "scrap")],
                ),
            )
        ],
    )


def long_and_narrow() -> tuple[CutPlan, Order]:
    return plan_of(
        [part("N", 60, 400, 8)],
        [sheet("SH-N", 3000, 60, 3, edges="cut", oversize=0)],
        [("SH-N", 2, ("x", [(400, "~N")] * 7 + [(200, "scrap")]))],
        batch=False,
    )


def tall() -> tuple[CutPlan, Order]:
    return plan_of(
        [part("T", 150, 300, 10)],
        [sheet("SH-C", 400, 2500, 1, edges="cut")],
        [
            (
                "SH-C",
                1,
                ("y", [(300, ("x", [(150, "T"), (150, "T"), (100, "scrap")]))] * 5 + [(1000, "offcut")]),
            )
        ],
    )


def uncut() -> tuple[CutPlan, Order]:
    return plan_of(
        [part("WHOLE", 500, 400, 1)], [sheet("R-1", 500, 400, 1, kind="offcut", edges="cut", oversize=0)],
        [("R-1", 1, "WHOLE")],
    )  # fmt: skip


ALL = pytest.mark.parametrize("make", [by_hand, crowded, long_and_narrow, tall, uncut])


def drawn(made: tuple[CutPlan, Order]) -> ET.Element:
    return ET.fromstring(layout_svg(*made, 1))


def box_of(rect: ET.Element) -> Box:
    return Box(*(float(rect.get(name, "nan")) for name in ("x", "y", "width", "height")))


def pieces(root: ET.Element) -> list[ET.Element]:
    group = root.find(f"{SVG}g[@class='sheet']")
    assert group is not None
    return [rect for rect in group.findall(f"{SVG}rect") if rect.get("class") != "outline"]


def outline(root: ET.Element) -> Box:
    rect = root.find(f"{SVG}g[@class='sheet']/{SVG}rect[@class='outline']")
    assert rect is not None
    return box_of(rect)


def texts(root: ET.Element) -> list[str]:
    return [element.text or "" for element in root.iter(f"{SVG}text")]


@pytest.mark.parametrize("make", [by_hand, long_and_narrow, tall, uncut])
def test_every_piece_is_drawn_once_inside_the_sheet_to_scale(make) -> None:
    plan, order = make()
    root = drawn((plan, order))
    frame = outline(root)
    tree = plan.layouts[0].tree
    scale = frame.dx / tree.dx
    assert frame.dy / tree.dy == pytest.approx(scale, rel=1e-3)
    rects = pieces(root)
    wanted = list(leaves(tree))
    assert len(rects) == len(wanted)
    for rect, leaf in zip(rects, wanted, strict=True):
        box = box_of(rect)
        assert rect.get("class") == leaf.kind
        assert box.x == pytest.approx(frame.x + leaf.x * scale, abs=0.02)
        # The datum corner is below on the left, so heights count from the lower edge of the sheet.
        assert box.y + box.dy == pytest.approx(frame.y + frame.dy - leaf.y * scale, abs=0.02)
        assert (box.dx, box.dy) == pytest.approx((leaf.dx * scale, leaf.dy * scale), abs=0.02)
        assert box.x >= frame.x - 0.02
        assert box.x + box.dx <= frame.x + frame.dx + 0.02
        assert box.y >= frame.y - 0.02


@pytest.mark.parametrize("make", [by_hand, long_and_narrow, tall])
def test_drawn_pieces_do_not_overlap(make) -> None:
    boxes = [box_of(rect).inset(0.02) for rect in pieces(drawn(make()))]
    assert not [pair for pair in combinations(boxes, 2) if pair[0].meets(pair[1])]


@ALL
def test_a_picture_has_a_title_a_description_and_all_within_the_page(make) -> None:
    root = drawn(make())
    title, desc = root.find(f"{SVG}title"), root.find(f"{SVG}desc")
    assert title is not None
    assert desc is not None
    assert title.text == "Layout 1 of 1, order W-1042"
    assert root.get("aria-labelledby") == f"{title.get('id')} {desc.get('id')}"
    assert "Each gives" in (desc.text or "")
    width, height = float(root.get("width", "nan")), float(root.get("height", "nan"))
    for element in root.iter(f"{SVG}text"):
        assert 0 <= float(element.get("x", "nan")) <= width
        assert 0 <= float(element.get("y", "nan")) <= height


def test_refs_are_escaped_and_what_xml_cannot_carry_is_replaced() -> None:
    svg = layout_svg(*by_hand(), 1)
    assert "Q<&>" not in svg
    assert "\x07" not in svg
    root = ET.fromstring(svg)
    assert sum(rect.get("data-ref") == "Q<&>\"'\ufffd" for rect in pieces(root)) == 3
    assert "Q<&>\"'\ufffd" in texts(root)


def test_the_words_say_stock_repeat_heat_sizes_and_kinds() -> None:
    words = " ".join(texts(drawn(by_hand())))
    for wanted in (
        "SH-A", "2500 × 1250 × 3 mm", "S235JR", "heat H 77310", "cut 2 sheets like this",
        "Bench shear 3 m", "600 × 300", "2500 × 445", "grain", "datum corner",
    ):  # fmt: skip
        assert wanted in words
    assert "no heat number" in " ".join(texts(drawn(tall())))
    assert "Nothing is cut" in " ".join(texts(drawn(uncut())))
    assert "first of them" in " ".join(texts(drawn(long_and_narrow())))


def test_kinds_differ_by_hatching_and_not_by_colour_alone() -> None:
    root = drawn(by_hand())
    patterns = {pattern.get("id"): pattern.find(f"{SVG}path") for pattern in root.iter(f"{SVG}pattern")}
    strokes = {path.get("d") for path in patterns.values() if path is not None}
    assert len(strokes) == len(patterns) == 3
    for rect in pieces(root):
        kind = rect.get("class")
        assert (rect.get("fill") == f"url(#layout1-{kind})") == (kind != "part")


def test_cut_lines_lie_where_the_plan_worked_by_hand_has_them() -> None:
    # The primer's plan: a trim of 5, two strips of 300, then a trim of 5 and four parts of 600 from each.
    plan, _ = by_hand()
    lines = cut_lines(plan.layouts[0], plan.program)
    across = [line.at for line in lines if line.axis == "y"]
    assert across == [mm(5), mm(305), mm(605), mm(805)]
    first_strip = [line.at for line in lines if line.axis == "x" and line.start == mm(5)]
    assert first_strip == [mm(5), mm(605), mm(1205), mm(1805), mm(2405)]
    assert all(line.end == mm(305) for line in lines if line.start == mm(5) and line.axis == "x")


@ALL
def test_every_step_has_its_number_at_a_cut_or_is_named_as_left_out(make) -> None:
    plan, order = make()
    root = drawn((plan, order))
    group = root.find(f"{SVG}g[@class='steps']")
    assert group is not None
    marked = {int(element.text or "") for element in group.findall(f"{SVG}text")}
    mine = {line.step for line in cut_lines(plan.layouts[0], plan.program)}
    words = " ".join(texts(root))
    left_out = words.partition("for the number of step ")[2]
    hidden = words.partition("are not drawn: step ")[2].partition(" No room")[0]
    named = {int(word.strip(",.")) for word in f"{hidden} {left_out}".split() if word.strip(",.").isdigit()}
    assert marked | named == mine
    assert mine or make is uncut


def test_each_sheet_of_a_batch_or_the_first_alone_carries_the_steps() -> None:
    plan, _ = long_and_narrow()
    lines = cut_lines(plan.layouts[0], plan.program)
    assert len(plan.program) == 2 * len({line.step for line in lines})
    assert max(line.step for line in lines) < max(step.number for step in plan.program)


def test_a_program_that_does_not_cut_the_layout_is_refused() -> None:
    plan, order = by_hand()
    for change, message in (
        ({"gauge": mm(301)}, "gauges 301 mm"),
        ({"pieces": 3}, "takes up 3"),
        ({"axis": "x"}, "does not fit"),
        ({"piece": "2a"}, "no piece of layout 1"),
    ):
        program = (plan.program[0], replace(plan.program[1], **change), *plan.program[2:])
        with pytest.raises(DrawingError, match=message):
            layout_svg(replace(plan, program=program), order, 1)
    with pytest.raises(DrawingError, match="no step cuts"):
        layout_svg(replace(plan, program=plan.program[:-1]), order, 1)
    with pytest.raises(DrawingError, match="not in the order's stock"):
        layout_svg(plan, replace(order, stock=()), 1)
    with pytest.raises(DrawingError, match="P1"):
        layout_svg(plan, replace(order, parts=order.parts[1:]), 1)
    with pytest.raises(KeyError, match="no layout 2"):
        layout_svg(plan, order, 2)


_AGAIN = """
import hashlib, importlib, sys
from service.drawing.svg import layout_svg
made = importlib.import_module("tests.drawing.test_svg").by_hand()
print(hashlib.sha256(layout_svg(*made, 1).encode()).hexdigest())
"""


def test_the_same_plan_gives_the_same_bytes_in_another_process() -> None:
    here = hashlib.sha256(layout_svg(*by_hand(), 1).encode()).hexdigest()
    there = subprocess.run(
        [sys.executable, "-c", _AGAIN],
        cwd=Path(__file__).parents[2],
        env={**os.environ, "PYTHONHASHSEED": "4711"},
        capture_output=True,
        text=True,
        check=True,
    )
    assert there.stdout.strip() == here


def test_the_steps_show_what_the_gauge_can_be_set_to() -> None:
    plan, order = by_hand()
    assert "back gauge 300 ×2" in texts(drawn((plan, order)))
    gauge = BackGauge(mm(3), mm(1000), step=mm(7))
    assert "back gauge 297 ×2" in texts(
        drawn((plan, replace(order, machine=replace(BENCH, back_gauge=gauge))))
    )


def few_with_a_long_name() -> tuple[CutPlan, Order]:
    name = "A-LONG-REFERENCE-FOR-A-SMALL-PART"
    return plan_of(
        [part(name, 20, 20, 5)],
        [sheet("SH-D", 1000, 500, 1, edges="cut")],
        [("SH-D", 1, ("y", [(20, ("x", [(20, name)] * 5 + [(900, "scrap")])), (480, "scrap")]))],
    )


def test_names_too_long_for_their_part_become_letters_of_the_table() -> None:
    root = drawn(few_with_a_long_name())
    names = root.find(f"{SVG}g[@class='names']")
    assert names is not None
    shown = {element.text for element in names.iter(f"{SVG}text")}
    assert "A-LONG-REFERENCE-FOR-A-SMALL-PART" not in shown
    assert "A" in shown


def test_a_field_of_many_small_parts_is_one_block_with_its_count_and_no_cuts_inside() -> None:
    plan, order = crowded()
    root = drawn((plan, order))
    fields = [rect for rect in pieces(root) if rect.get("class") == "field"]
    assert [rect.get("data-ref") for rect in fields] == ["A-LONG-REFERENCE-FOR-A-SMALL-PART", "B"]
    assert {"48 × 12 pieces 20 × 20", "48 × 10 pieces 20 × 20"} <= set(texts(root))
    boxes = [box_of(rect).inset(0.1) for rect in fields]
    for line in root.iter(f"{SVG}line"):
        x1, y1, x2, y2 = (float(line.get(name, "nan")) for name in ("x1", "y1", "x2", "y2"))
        assert not any(box.meets(Box(x1, y1, x2 - x1, y2 - y1)) for box in boxes)
    # Drawn one by one these 1056 parts took 762 000 letters.
    assert len(layout_svg(plan, order, 1)) < 60_000


def test_fields_hold_every_part_once_and_what_is_no_field_is_drawn_by_itself() -> None:
    for make in (by_hand, crowded, long_and_narrow, tall, uncut):
        tree = make()[0].layouts[0].tree
        places = [place for field in fields_of(tree) for place in field.origins()]
        assert sorted(places) == sorted((leaf.x, leaf.y) for leaf in leaves(tree) if leaf.kind == "part")
    assert [(one.columns, one.rows) for one in fields_of(crowded()[0].layouts[0].tree)] == [
        (48, 12),
        (48, 10),
    ]
    assert [(one.columns, one.rows) for one in fields_of(tall()[0].layouts[0].tree)] == [(2, 5)]
    assert not [rect for rect in pieces(drawn(tall())) if rect.get("class") == "field"]


def test_a_cut_is_drawn_where_it_is_outside_a_field_and_along_its_edge() -> None:
    field = Field("P", rotated=False, x=100, y=0, piece_dx=50, piece_dy=50, columns=4, rows=2)
    through = CutLine(1, "y", 50, 0, 400, 50, first=True)
    assert [(one.start, one.end) for one in outside(through, (field,))] == [(0, 100), (300, 400)]
    assert outside(replace(through, at=100), (field,)) == (replace(through, at=100),)
    assert outside(CutLine(2, "x", 150, 0, 100, 50, first=True), (field,)) == ()


@settings(deadline=None, max_examples=100)
@given(
    st.lists(st.text("WMi1Pé% ", min_size=1, max_size=20), min_size=1, max_size=2),
    st.floats(1, 300),
    st.floats(1, 300),
)
def test_fitted_text_stays_in_its_box_and_off_what_is_taken(lines, dx, dy) -> None:
    inside = Box(10, 20, dx, dy)
    taken = [Box(0, 0, 20, 30)]
    found = fit([lines], inside, taken, 14, 4)
    if found is not None:
        assert found.box.x >= inside.x - 1e-9
        assert found.box.x + found.box.dx <= inside.x + dx + 1e-9
        assert found.box.y >= inside.y - 1e-9
        assert found.box.y + found.box.dy <= inside.y + dy + 1e-9
        assert not found.box.meets(taken[0])


@pytest.mark.parametrize(
    ("character", "width", "bold"),
    # Advance widths of Helvetica and Helvetica-Bold in thousandths: Core 14 font metrics, from memory.
    [("W", 944, 944), ("M", 833, 833), ("m", 833, 889), ("Q", 778, 778), ("G", 778, 778), ("A", 667, 722),
     ("0", 556, 556), ("e", 556, 556), ("b", 556, 611), ("i", 222, 278), ("%", 889, 889), ("@", 1015, 975),
     ("+", 584, 584), ("-", 333, 333), ("/", 278, 278), ("×", 584, 584)],
)  # fmt: skip
def test_widths_are_never_reckoned_below_a_usual_type(character, width, bold) -> None:
    assert text_width(character, 1000) >= width
    assert text_width(character, 1000, bold=True) >= bold


@settings(deadline=None, max_examples=100)
@given(st.text("ab W-", max_size=60), st.floats(12, 200))
def test_wrapped_text_loses_no_letter_and_no_line_is_too_wide(text, width) -> None:
    lines = wrap(text, 10, width)
    assert "".join("".join(lines).split()) == "".join(text.split())
    assert all(text_width(line, 10) <= width or len(line) == 1 for line in lines)


def test_a_letter_stands_beside_what_takes_the_middle_and_is_large_enough_to_read() -> None:
    inside, mark = Box(0, 0, 20, 60), Box(0, 24, 20, 14)
    found = fit((["E"],), inside, [mark], 12, 3.5, bold=True)
    assert found is not None
    assert found.size == 12
    assert not found.box.meets(mark)
    assert inside.y <= found.box.y
    assert found.box.y + found.box.dy <= inside.y + inside.dy
    # Where the middle is free it stays there, even if another place had room for a larger one.
    low = Box(0, 38, 20, 22)
    held = fit((["E"],), inside, [low], 12, 3.5, bold=True)
    assert held is not None
    assert held.box.middle == pytest.approx(inside.middle)
