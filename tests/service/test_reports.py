"""Reports: figures from the roll-ups, by what is asked for, as JSON and CSV; on both databases."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest

from tests.service.shop import Service, Station, piece
from tests.service.test_contract import told


@pytest.fixture
def written(service: Service, station: Station) -> Service:
    """A sheet of 73.6 kg: eight parts of 4.239 kg each, an offcut of 12.7 kg, the rest scrap."""
    part = {"ref": "P1", "length_mm": 600, "width_mm": 300, "quantity": 4, "mass_kg": 16.956}
    common: dict[str, Any] = {"parts": [part], "equivalent_m": 1.2, "minutes": 15}
    service.push(
        [
            station.write("stock.taken", {**piece(mass_kg=73.6), "ref": "SH-A"}),
            station.cut(happened_at="2026-03-01T09:00:00Z", **common),
            station.cut(happened_at="2026-03-31T09:00:00Z", **common),
            station.write("offcut.stored", {**piece(mass_kg=12.7), "ref": "OC-1"}),
            station.write("scrap.made", {**piece(mass_kg=20.0, quantity=2), "reason": "leftover"}),
            station.write("scrap.made", {**piece(mass_kg=6.9), "reason": "trim"}),
            station.write("scrap.made", {**piece(mass_kg=1.5, thickness_mm=8), "reason": "trim"}),
        ]
    )
    return service


def ask(service: Service, name: str, **query: str) -> Any:
    answer = service.get(f"/reports/{name}", "report", query_string=query)
    assert answer.status_code == 200, answer.text
    return answer.json["rows"]


def test_scrap_by_reason_and_thickness_band(written: Service) -> None:
    assert ask(written, "scrap", by="reason") == [
        {"reason": "leftover", "scrap_pieces": 2, "scrap_kg": 20.0},
        {"reason": "trim", "scrap_pieces": 2, "scrap_kg": 8.4},
    ]
    assert [row["thickness_band"] for row in ask(written, "scrap", by="thickness_band")] == [
        "over 1 to 3 mm",
        "over 6 to 10 mm",
    ]


def test_yield_is_parts_over_what_was_taken_less_offcuts_kept(written: Service) -> None:
    (row,) = ask(written, "yield", by="machine")
    assert row["parts"] == 8
    assert row["parts_kg"] == pytest.approx(33.912)
    assert row["yield"] == pytest.approx(33.912 / (73.6 - 12.7))
    assert row["unaccounted_kg"] == pytest.approx(73.6 - 12.7 - 33.912 - 28.4)


def test_parts_an_hour_are_of_those_cuts_alone_whose_time_was_written_down(
    service: Service, station: Station
) -> None:
    service.push([station.cut(minutes=15), station.cut(minutes=None), station.cut(minutes=None)])
    (row,) = ask(service, "throughput", by="machine")
    assert (row["parts"], row["parts_timed"], row["hours"]) == (12, 4, 0.25)
    assert row["parts_per_hour"] == 16


def test_throughput_by_day_week_and_month(written: Service) -> None:
    assert [row["day"] for row in ask(written, "throughput", by="day")] == ["2026-03-01", "2026-03-31"]
    # ISO 8601: 2026-03-01 is a Sunday, in week 9; 2026-03-31 a Tuesday, in week 14.
    assert [row["week"] for row in ask(written, "throughput", by="week")] == ["2026-W09", "2026-W14"]
    (row,) = ask(written, "throughput", by="month,material")
    assert (row["month"], row["material"], row["parts"], row["hours"]) == ("2026-03", "S235JR", 8, 0.5)
    assert row["parts_per_hour"] == 16
    (row,) = ask(written, "throughput", by="day", **{"from": "2026-03-02", "to": "2026-03-31"})
    assert row["day"] == "2026-03-31"


def test_wear_in_metres(written: Service) -> None:
    (row,) = ask(written, "wear", by="site", machine="bench-3m")
    assert row == {"site": "northgate", "strokes": 8, "cut_m": 2.4, "equivalent_m": 2.4}
    assert ask(written, "wear", by="site", machine="far-2m") == []


def test_a_report_as_csv(written: Service) -> None:
    for more in ({"query_string": {"by": "reason", "format": "csv"}}, {
        "query_string": {"by": "reason"}, "headers": {"Accept": "text/csv"},
    }):  # fmt: skip
        answer = written.get("/reports/scrap", "report", **more)
        assert answer.content_type == "text/csv; charset=utf-8"
        rows = list(csv.reader(io.StringIO(answer.text)))
        assert rows == [
            ["reason", "scrap_pieces", "scrap_kg"],
            ["leftover", "2", "20.0"],
            ["trim", "2", "8.4"],
        ]


def test_a_formula_in_a_name_is_disarmed_in_csv(service: Service, station: Station) -> None:
    service.push([station.write("scrap.made", {**piece(material="=1+1"), "reason": "trim"})])
    text = service.get("/reports/scrap", query_string={"by": "material", "format": "csv"}).text
    assert "'=1+1" in text


@pytest.mark.parametrize(
    ("query", "pointer"),
    [
        ({"by": "colour"}, "/query/by"),
        ({"by": "site,site"}, "/query/by"),
        ({"from": "2026-02-30"}, "/query/from"),
        ({"from": "20260201"}, "/query/from"),
        ({"to": "yesterday"}, "/query/to"),
        ({"from": "2026-03-02", "to": "2026-03-01"}, "/query/from"),
        ({"format": "xml"}, "/query/format"),
    ],
)
def test_a_report_that_cannot_be_is_told_why(shared: Service, query: dict[str, str], pointer: str) -> None:
    assert pointer in told(shared.get("/reports/scrap", query_string=query))


def test_only_scrap_has_a_reason(shared: Service) -> None:
    assert "only scrap" in told(shared.get("/reports/yield?by=reason"))["/query/by"]


def test_a_blade_is_forecast_from_the_cuts_that_were_written_down(written: Service) -> None:
    """S235JR of 3 mm, Rm to 510, on a 6 mm machine of 450: severity 3/6 · 510/450 a metre."""
    answer = written.get("/wear/blades/bench-3m", "report", query_string={"days": "20"})
    assert answer.status_code == 200, answer.text
    use = answer.json["use"]
    assert use["metres"] == pytest.approx(8 * 0.3)
    assert use["equivalent_metres"] == pytest.approx(8 * 0.3 * 3 / 6 * 510 / 450)
    assert (answer.json["worst_start_mm"], answer.json["worst_end_mm"]) == (0, 300)
    assert answer.json["days_left_low"] < answer.json["days_left"] < answer.json["days_left_high"]
    assert written.get("/wear/blades/none", "report").status_code == 404


def test_a_row_of_which_more_came_out_than_was_taken_carries_a_remark(small: Service) -> None:
    station = Station()
    small.push([station.write("stock.taken", {**piece(mass_kg=16.956), "ref": "SH-A"}), station.cut()])
    (row,) = small.get("/reports/yield", query_string={"by": "machine"}).json["rows"]
    assert (row["yield"], row["remark"]) == (1, None)
    small.push([station.cut()])
    (row,) = small.get("/reports/yield", query_string={"by": "machine"}).json["rows"]
    assert row["yield"] == 2
    assert row["remark"].startswith("more came out than was taken")
    table = small.get("/reports/yield", query_string={"by": "machine", "format": "csv"}).text
    assert table.splitlines()[0].endswith("remark")
    assert "more came out than was taken" in table.splitlines()[1]


@pytest.mark.parametrize("column", ["site", "machine"])
def test_a_report_of_a_place_nobody_knows_is_refused_in_words(small: Service, column: str) -> None:
    answer = small.get("/reports/yield", query_string={"by": "day", column: "nowhere"})
    assert answer.status_code == 422
    assert answer.json["errors"][0]["message"] == f"no {column} is known by the id 'nowhere'"


def test_events_that_wait_are_counted_of_the_site_and_the_days_asked_for(small: Service) -> None:
    station = Station()
    small.push(
        [
            station.cut(machine="nowhere", happened_at="2026-03-01T09:00:00Z"),
            station.cut(strokes=-1, happened_at="2026-03-31T23:30:00Z"),
            station.write("coolant.changed", {"litres": 4}, happened_at="2026-03-05T09:00:00Z"),
        ]
    )

    def waiting(**query: str) -> int:
        answer = small.get("/reports/scrap", query_string=query)
        return int(answer.json["unapplied_events"])

    assert waiting() == 3
    assert waiting(site="northgate") == 3
    assert waiting(site="fell-road") == 0
    # The day is that of the site, an hour ahead of UTC by then, also of one refused for its payload.
    assert waiting(to="2026-03-31") == 2
    assert waiting(**{"from": "2026-04-01", "to": "2026-04-01"}) == 1
    assert waiting(**{"from": "2026-03-02", "to": "2026-03-05"}) == 1


def test_an_event_without_a_usable_time_may_be_of_any_day(small: Service) -> None:
    station = Station()
    small.push([station.cut(happened_at="0001-01-01T00:00:00Z")])
    assert small.get("/reports/scrap?from=2026-03-03").json["unapplied_events"] == 1


def test_no_parts_an_hour_are_told_when_no_part_was_timed(small: Service) -> None:
    """What is cut along first gives no part; its minutes alone say nothing of parts an hour."""
    station = Station()
    small.push([station.cut(minutes=2, parts=[]), station.cut(minutes=None)])
    (row,) = ask(small, "throughput", by="machine")
    assert (row["parts"], row["parts_timed"], row["parts_per_hour"]) == (4, 0, None)
    assert row["hours"] == pytest.approx(2 / 60)


def test_throughput_below_nothing_carries_a_remark(small: Service) -> None:
    """Parts are taken off on the day they were spoiled, which may not be that on which they were made."""
    station = Station()
    spoiled = {**piece(mass_kg=4.239, quantity=1), "reason": "wrong size", "was_made": True}
    cut = station.cut(happened_at="2026-03-01T09:15:00Z")
    small.push([cut, station.write("scrap.made", spoiled)])
    made, lost = ask(small, "throughput", by="day")
    assert (made["parts"], made["remark"]) == (4, None)
    assert (lost["parts"], lost["remark"][:35]) == (-1, "more parts were spoiled than made: ")
    (both,) = ask(small, "throughput", by="month")
    assert (both["parts"], both["remark"]) == (3, None)


def test_more_parts_spoiled_than_made_carry_a_remark_and_no_yield(small: Service) -> None:
    """The step is withdrawn, and the entry of its spoiled parts still counts."""
    station = Station()
    spoiled = {**piece(mass_kg=16.956, quantity=4), "reason": "wrong size", "was_made": True}
    taken = station.write("stock.taken", {**piece(mass_kg=73.6), "ref": "SH-A"})
    cut = station.cut()
    small.push([taken, cut, station.write("scrap.made", spoiled)])
    (row,) = ask(small, "yield", by="machine")
    assert (row["parts"], row["yield"], row["remark"]) == (0, 0, None)
    withdrawn = {"event_id": cut["event_id"], "reason": "logged twice"}
    assert small.push([station.write("log.withdrawn", withdrawn)]).json["results"][0]["state"] == "applied"
    (row,) = ask(small, "yield", by="machine")
    assert (row["parts"], row["yield"]) == (-4, None)
    assert "more parts were spoiled than made" in row["remark"]
