"""Ends of strips are trimmed in one cut across the whole sheet where that saves strokes."""

from dataclasses import replace

from service.engine.layout import rules
from service.engine.layout.job import Job
from service.engine.layout.trimming import trimmed_whole
from service.engine.layout.walk import walk
from service.engine.machine import BackGauge, FrontStops, GapRange, HoldDown, Machine, Rake, Rating
from service.engine.order import Options, Part, StockItem
from service.engine.plan import Leaf, Node, Split
from service.engine.quantities import mm

SHEAR = Machine(
    "s",
    "shear",
    mm(3000),
    Rating(mm(6)),
    Rake(1.5, 1.5),
    GapRange(5, 100),
    BackGauge(mm(5), mm(1000)),
    HoldDown(mm(45)),
    front_stops=FrontStops(mm(60), mm(1000)),
    relief=True,
)
SHEET = StockItem("SH", mm(2500), mm(1250), 9, "S235JR", mm(3))
PART = Part("P", mm(600), mm(300), 99, "S235JR", mm(3))


def job(machine: Machine = SHEAR) -> Job:
    return Job(machine, (PART,), (SHEET,), Options(), machine.cutting_length)


def slit(strips: int) -> Split:
    """Strips of 300 along the sheet, each trimmed by 5 and cut into four parts of 600 and scrap."""
    trim = Leaf("trim", 0, 0, mm(2500), mm(5))
    rows: list[Node] = [trim]
    for i in range(strips):
        y = mm(5 + 300 * i)
        parts = [Leaf("part", mm(5 + 600 * n), y, mm(600), mm(300), "P") for n in range(4)]
        cells = (Leaf("trim", 0, y, mm(5), mm(300)), *parts, Leaf("scrap", mm(2405), y, mm(95), mm(300)))
        rows.append(Split("x", 0, y, mm(2500), mm(300), cells))
    end = mm(5 + 300 * strips)
    kind = "offcut" if mm(1250) - end >= mm(200) else "scrap"
    rows.append(Leaf(kind, 0, end, mm(2500), mm(1250) - end))
    return Split("y", 0, 0, mm(2500), mm(1250), tuple(rows))


def leaves(node: Node) -> list[Leaf]:
    return [node] if isinstance(node, Leaf) else [leaf for child in node.children for leaf in leaves(child)]


def area(node: Node, *kinds: str) -> int:
    return sum(leaf.dx * leaf.dy for leaf in leaves(node) if not kinds or leaf.kind in kinds)


def test_three_strips_are_trimmed_in_one_cut() -> None:
    before = slit(3)
    after = trimmed_whole(job(), "SH", before)
    assert isinstance(after, Split)
    assert (after.axis, after.children[0]) == ("x", Leaf("trim", 0, 0, mm(5), mm(1250)))
    assert [leaf.kind for leaf in leaves(after)].count("trim") == 2
    assert [leaf.kind for leaf in leaves(before)].count("trim") == 4


def test_the_same_parts_come_out_at_the_same_places_and_nothing_is_lost() -> None:
    before, after = slit(4), trimmed_whole(job(), "SH", slit(4))
    assert after != before
    assert {leaf for leaf in leaves(after) if leaf.kind == "part"} == {
        leaf for leaf in leaves(before) if leaf.kind == "part"
    }
    assert area(after) == area(before) == mm(2500) * mm(1250)


def test_what_comes_out_can_be_cut() -> None:
    walked = walk(
        SHEAR, trimmed_whole(job(), "SH", slit(4)), rules.stock_piece(SHEET, mm(5)), {"P": PART}, mm(5)
    )
    assert not isinstance(walked, str)


def test_two_strips_are_not_worth_turning_the_sheet() -> None:
    assert trimmed_whole(job(), "SH", slit(2)) == slit(2)


def test_a_sheet_that_does_not_fit_the_blade_crosswise_is_slit_as_before() -> None:
    long = replace(SHEAR, cutting_length=mm(1200))
    assert trimmed_whole(job(long), "SH", slit(3)) == slit(3)


def test_an_offcut_that_gets_too_small_is_called_scrap() -> None:
    tight = replace(job(), options=Options(offcut_min=(mm(2498), mm(300))))
    end = leaves(trimmed_whole(tight, "SH", slit(3)))[-1]
    assert (end.kind, end.dx) == ("scrap", mm(2495))
