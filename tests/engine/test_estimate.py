"""The figures of a plan, against sums done by hand from the stated time model."""

from dataclasses import replace

import pytest

from service.engine.estimate import Effort, efforts_of, gauge_moves, settings_changes, summarise, times_for
from service.engine.handling import Lift
from service.engine.machine import BackGauge, GapRange, HoldDown, Machine, Rake, Rating, TimeModel
from service.engine.materials_table import material_named
from service.engine.order import Order, StockItem
from service.engine.plan import Gauging, Layout, Leaf, Outcome, Settings, Step
from service.engine.quantities import mm

TIMES = TimeModel(
    program_setup_s=100,
    settings_change_s=40,
    gauge_start_s=2,
    load_sheet_s=60,
    place_piece_s=8,
    turn_piece_s=10,
    two_person_factor=1.5,
    crane_s=120,
    mark_line_s=45,
    front_stop_s=20,
    collect_s=30,
    hour_rate=60,
)
SHEAR = Machine(
    "t",
    "timed",
    mm(3000),
    Rating(mm(6)),
    Rake(1.5, 1.5),
    GapRange(5, 100),
    BackGauge(mm(5), mm(1000), speed_mm_s=100),
    HoldDown(mm(45)),
    strokes_per_minute=20,
    times=TIMES,
)


STEP = Step(
    number=1,
    layout=1,
    piece="1",
    pieces=1,
    along_blade=mm(500),
    depth=mm(1000),
    axis="x",
    edge_end="near",
    edge_state="cut",
    turn="none",
    squared=False,
    gauging="back gauge",
    gauge=mm(100),
    measured="drop",
    repeat=1,
    gang=1,
    strokes=1,
    settings=Settings(20, 1.5, mm(50), None, False, False, ()),
    force_kn=50.0,
    rating_share=0.5,
    piece_kg=60.0,
    lift="crane",
    drops=(),
    remainders=(),
    findings=(),
)


def effort(
    gauge: float, *, gauging: Gauging = "back gauge", lift: Lift = "one person", falls: float = 100
) -> Effort:
    """Two pieces with three cuts each in three strokes of half the travel."""
    return Effort(
        gauging=gauging,
        gauge=mm(gauge),
        fall_depth=mm(gauge if gauging == "back gauge" else falls),
        gap=20,
        rake_deg=1.5,
        pieces=2,
        lifts=2,
        cuts=6,
        strokes=3,
        stroke_share=0.5,
        turned=False,
        lift=lift,
        wanted=True,
    )


def test_each_term_is_the_stated_product() -> None:
    times = times_for(SHEAR, (effort(500), effort(300)), ["one person"])
    assert times.setup == 100
    assert times.loading == 60
    assert times.settings == 0
    # From 1000 to 500, then to 300, at 100 mm/s, with 2 s to start each.
    assert times.gauge == pytest.approx(2 + 5 + 2 + 2)
    assert times.placing == 8 * 12
    # 20 a minute at the full travel: 3 s each, half of it, six strokes.
    assert times.strokes == pytest.approx(9)
    assert times.collecting == 60
    assert (times.marking, times.turns) == (0, 0)
    assert times.total == pytest.approx(100 + 60 + 11 + 96 + 9 + 60)


def test_an_unchanged_gauge_costs_no_move() -> None:
    times = times_for(SHEAR, (effort(500), effort(500)), [])
    assert times.gauge == pytest.approx(7)
    assert gauge_moves((effort(500), effort(500), effort(300), effort(500))) == 3


def test_a_front_stop_and_a_marked_line_have_their_own_times() -> None:
    efforts = (effort(500), effort(900, gauging="front stop"), effort(700, gauging="marked line"))
    times = times_for(SHEAR, efforts, [])
    assert times.gauge == pytest.approx(7 + 20)
    assert times.marking == 6 * 45


def test_the_back_gauge_waits_where_it_was_while_stops_are_used() -> None:
    efforts = (effort(500), effort(900, gauging="front stop"), effort(400))
    assert times_for(SHEAR, efforts, []).gauge == pytest.approx(7 + 20 + 3)


def test_two_people_take_longer_and_a_crane_lifts_each_piece_it_brings() -> None:
    two = times_for(SHEAR, (effort(500, lift="two people"),), ["two people"])
    assert (two.loading, two.placing) == (90, 6 * 8 * 1.5)
    crane = times_for(SHEAR, (effort(500, lift="crane"),), ["crane"])
    assert (crane.loading, crane.placing) == (180, 6 * 8 + 2 * 120)


def test_every_piece_of_a_turned_step_is_turned() -> None:
    assert times_for(SHEAR, (replace(effort(500), turned=True),), []).turns == 20


def test_the_first_settings_belong_to_the_setup() -> None:
    other = replace(effort(500), gap=30)
    assert settings_changes((effort(500), other, effort(500))) == 3
    assert times_for(SHEAR, (effort(500), other, effort(500)), []).settings == 80


def _order(*stock: StockItem) -> Order:
    return Order("O", SHEAR, (material_named("S235JR"),), (), stock)


def _whole(ref: str, number: int = 1, repeat: int = 1) -> Layout:
    return Layout(number, ref, "S235JR", mm(3), repeat, Leaf("scrap", 0, 0, mm(1000), mm(1000)))


def test_sheets_and_offcuts_are_counted_apart_and_priced_together() -> None:
    sheet = StockItem("S", mm(1000), mm(1000), 5, "S235JR", mm(3), price=50.0)
    offcut = replace(sheet, ref="R", kind="offcut", price=20.0)
    summary = summarise(_order(sheet, offcut), (_whole("S", 1, 2), _whole("R", 2, 3)), ())
    assert (summary.sheets, summary.offcuts_used, summary.material_cost) == (2, 3, 160.0)
    assert summary.stock_area_mm2 == pytest.approx(5e6)
    # 5 m² of 3 mm at 7850 kg/m³.
    assert summary.scrap_kg == pytest.approx(117.75)


def test_one_piece_without_a_price_leaves_the_cost_open() -> None:
    sheet = StockItem("S", mm(1000), mm(1000), 5, "S235JR", mm(3), price=50.0)
    unpriced = replace(sheet, ref="R", price=None)
    assert summarise(_order(sheet, unpriced), (_whole("S"), _whole("R", 2)), ()).material_cost is None


def test_a_plan_without_layouts_takes_no_time() -> None:
    summary = summarise(_order(), (), ())
    assert (summary.minutes, summary.time_cost, summary.utilisation, summary.strokes) == (0, 0, 0, 0)


def test_minutes_cost_the_hourly_rate() -> None:
    sheet = StockItem("S", mm(1000), mm(1000), 5, "S235JR", mm(3))
    summary = summarise(_order(sheet), (_whole("S"),), ())
    # 100 s to set up and 60 s to load 23.6 kg by one person; 60 an hour is 1 a minute.
    assert summary.minutes == pytest.approx(160 / 60)
    assert summary.time_cost == pytest.approx(160 / 60)


def test_the_back_gauge_is_wound_clear_of_a_drop_that_it_does_not_gauge() -> None:
    """From 5 to 10 beyond a drop of 400: 4.05 s at 100 mm/s and 2 s to start, besides the stop's own time."""
    alone = times_for(SHEAR, (effort(5), effort(900, gauging="front stop", falls=0)), []).gauge
    wound = times_for(SHEAR, (effort(5), effort(900, gauging="front stop", falls=400)), []).gauge
    assert wound - alone == pytest.approx(2 + 4.05 - (2 + 0.05))
    there = times_for(SHEAR, (effort(500), effort(900, gauging="front stop", falls=400)), []).gauge
    assert there == pytest.approx((2 + 5) + TIMES.front_stop_s)


def test_turning_at_the_blade_takes_one_lift_and_putting_aside_two() -> None:
    """By crane: nothing to go on as it lies, one lift to turn it there, two to put it away and fetch it."""
    order = [
        ("1", "none", "1a", 0),  # the sheet comes from the rack; 1a stays in front
        ("1a", "none", "1b", 0),
        ("1b", "quarter", "1c", 1),
        ("2", "none", "2a", 0),
        ("1c", "quarter", "1d", 2),
    ]
    steps = tuple(
        replace(STEP, piece=piece, turn=turn, remainders=(Outcome("piece", left, mm(500), mm(500), 1),))
        for piece, turn, left, _ in order
    )
    assert [effort.lifts for effort in efforts_of(SHEAR, steps)] == [lifts for *_, lifts in order]
    fell = replace(STEP, piece="3", drops=(Outcome("piece", "3a", mm(500), mm(500), 1),), remainders=())
    assert [one.lifts for one in efforts_of(SHEAR, (fell, replace(STEP, piece="3a")))] == [0, 1]
