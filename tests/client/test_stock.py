from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from client.cache.outbox import Draft, Outbox
from client.cache.records import Records
from client.cache.stock import StockChange, note_change, open_changes, rack_now, settle_changes
from client.home import Home
from service.engine.order import StockItem

SHEET = StockItem("SH-A", 250_000, 125_000, 8, "S235JR", 300, heat="H123")
OFFCUT = StockItem("B1-1", 90_000, 50_000, 2, "S235JR", 300, kind="offcut", edges="cut", oversize=50)


def test_what_was_taken_here_is_not_on_the_rack_and_offcuts_are():
    rack = rack_now(
        [SHEET], [StockChange("SH-A", -3), StockChange("B1-1", 2, OFFCUT), StockChange("B1-1", -1)]
    )
    assert rack == [replace(OFFCUT, quantity=1), replace(SHEET, quantity=5)]


def test_nothing_goes_below_none_and_unknown_refs_make_no_stock():
    assert rack_now([SHEET], [StockChange("SH-A", -9), StockChange("SH-X", -1)]) == [
        replace(SHEET, quantity=0)
    ]


def write(box, change):
    draft = Draft("gauge.measured", {"machine": "m", "gauge_mm": 1.0, "measured_mm": 1.0})
    return box.write([draft], lambda rows: note_change(box.sql, rows[0], change))[0].row


def test_a_change_counts_until_the_records_include_it_and_not_again_when_the_cache_is_deleted(tmp_path):
    home = Home(tmp_path / "home")
    box = Outbox(home, "bench1", computer="pc-1")
    first = write(box, StockChange("SH-A", -1))
    second = write(box, StockChange("B1-1", 2, OFFCUT))
    assert open_changes(box.sql, 0) == [StockChange("SH-A", -1), StockChange("B1-1", 2, OFFCUT)]
    assert open_changes(box.sql, first) == [StockChange("B1-1", 2, OFFCUT)]
    settle_changes(box.sql, first)
    assert Records(home).settled_to == 0, "a fresh cache knows nothing of it"
    assert open_changes(box.sql, 0) == [StockChange("B1-1", 2, OFFCUT)]
    assert second == box.sql.value("SELECT max(event) FROM stock_change")


@given(st.lists(st.tuples(st.sampled_from("AB"), st.integers(-5, 5)), max_size=30))
def test_the_rack_is_the_records_plus_the_sum_of_the_changes(changes):
    records = [replace(SHEET, ref=ref, quantity=100) for ref in "AB"]
    rack = {item.ref: item.quantity for item in rack_now(records, [StockChange(*one) for one in changes])}
    assert rack == {ref: max(0, 100 + sum(d for r, d in changes if r == ref)) for ref in "AB"}
