"""What falls without being gauged has to get past the back gauge; narrow trims must not jam it."""

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from service.engine.layout import levels, rules
from service.engine.layout.levels import Entry
from service.engine.layout.rules import NO_LIMIT, Cut, Extent
from service.engine.machine import BackGauge, FrontStops, GapRange, HoldDown, Machine, Rake, Rating
from service.engine.quantities import mm

SHEAR = Machine(
    "s",
    "shear",
    mm(2500),
    Rating(mm(6)),
    Rake(1.5, 1.5),
    GapRange(5, 100),
    BackGauge(mm(8), mm(750)),
    HoldDown(mm(45)),
    front_stops=FrontStops(mm(60), mm(2000)),
)
LINED = replace(SHEAR, front_stops=None, marked_line_accuracy=mm(1))


def good(size: float) -> Extent:
    return Extent(mm(size), False, False, mm(20))


def test_a_stop_cut_is_refused_when_the_drop_would_hit_the_back_gauge() -> None:
    """1180 held of 2492 leaves 1312 to fall behind a gauge that goes back to 750."""
    refused = rules.separate(SHEAR, good(2492), mm(1180), mm(0.8), 0)
    assert isinstance(refused, str)
    assert "would not get past the back gauge" in refused
    assert isinstance(rules.separate(SHEAR, good(1930), mm(1180), mm(0.8), 0), Cut)


def test_a_gauge_that_swings_away_lets_it_pass() -> None:
    cut = rules.separate(replace(SHEAR, gauge_clears=True), good(2492), mm(1180), mm(0.8), 0)
    assert isinstance(cut, Cut)
    assert (cut.gauging, cut.item_falls) == ("front stop", False)


def test_to_a_marked_line_the_deeper_side_stays_in_front() -> None:
    """2400 of 2490 must not hang behind the blade while 90 are clamped."""
    clears = replace(LINED, gauge_clears=True)
    cut = rules.separate(clears, good(2490), mm(2400), mm(4), 0)
    assert isinstance(cut, Cut)
    assert (cut.gauging, cut.item_falls) == ("marked line", False)
    cut = rules.separate(clears, good(2490), mm(760), mm(4), 0)
    assert isinstance(cut, Cut)
    assert cut.item_falls


def test_a_trim_is_cut_to_a_line_where_the_gauge_cannot_back_off() -> None:
    mill = Extent(mm(1250), True, True, mm(20))
    sizes, free = (mm(8), mm(1242)), (NO_LIMIT, NO_LIMIT)

    def trim(machine: Machine) -> str:
        made = rules.level(machine, mill, sizes, free, (False, False), mm(5))
        assert not isinstance(made, str)
        assert made[0].cut is not None
        return made[0].cut.gauging

    assert trim(LINED) == "marked line"
    assert trim(replace(LINED, relief=True)) == "back gauge"
    assert trim(SHEAR) == "back gauge"


@given(
    st.integers(mm(10), mm(3000)),
    st.integers(mm(1), mm(2990)),
    st.sampled_from((10, 50, 100, 400)),
    st.booleans(),
    st.booleans(),
    st.booleans(),
)
def test_the_quick_answer_agrees_with_the_rule(
    size: int, item: int, tolerance: int, stops: bool, line: bool, clears: bool
) -> None:
    machine = replace(
        SHEAR,
        front_stops=SHEAR.front_stops if stops else None,
        marked_line_accuracy=mm(1) if line else None,
        gauge_clears=clears,
    )
    extent = Extent(size, False, False, mm(0.1))
    slow = not isinstance(rules.separate(machine, extent, item, tolerance, 0), str)
    assert levels.separable(machine, extent, item, tolerance, 0) == slow


def test_what_would_not_get_past_the_gauge_is_parted_and_cut_away_first() -> None:
    """One of 1180 from a sheet of 2500 with mill edges: 750 is dropped first, the mill edge with it."""
    part = Entry(mm(1180), mm(0.8), True, ())
    mill = Extent(mm(2500), True, True, mm(20))
    made = levels.arrange(SHEAR, mill, [part], mm(5))
    assert isinstance(made, levels.Arranged)
    assert (made.before, made.trimmed, made.rest) == ((mm(750),), False, mm(570))
    gauging = [one.cut.gauging for one in made.made if one.cut is not None]
    assert gauging == ["back gauge", "front stop"]
    # Where the drop passes as it is, nothing is parted.
    clear = levels.arrange(replace(SHEAR, gauge_clears=True), mill, [part], mm(5))
    assert isinstance(clear, levels.Arranged)
    assert clear.trimmed
    assert len(clear.before) == 1


def test_the_level_counts_on_what_the_arrangement_can_do() -> None:
    level = levels.Level.of(SHEAR, Extent(mm(2500), False, False, mm(0.1)), 0)
    assert level.ends_well(mm(1320), mm(1180), mm(0.8), 0)
    assert not level.ends_well(mm(755), mm(1180), mm(0.2), 0)


@given(st.integers(mm(1), mm(6000)), st.integers(0, mm(20)))
def test_surplus_adds_up_and_each_piece_is_one_that_the_machine_drops(rest: int, end_min: int) -> None:
    pieces = levels.surplus(SHEAR, rest, end_min)
    assert sum(pieces) == rest
    *before, last = pieces
    gauge = SHEAR.back_gauge
    assert all(gauge.low <= one <= gauge.high for one in before)
    if before:
        assert end_min <= last <= gauge.high
