"""The wear of a blade over HTTP: from what is told, and from what was written down at the machine."""

from __future__ import annotations

from typing import Any

import pytest

from tests.service.shop import Service, Station, machine

QUESTION: dict[str, Any] = {
    # 1000 passes of the full length are the life; each stroke of the rated plate is one.
    "machine": machine(site=None, edge_life_m=3000),
    "days": 100,
    "cuts": [{"material": "plain steel", "thickness": 6, "cut_length": 1000, "strokes": 500}],
}


def told(answer: Any) -> dict[str, str]:
    assert answer.status_code == 422, answer.text
    return {error["pointer"]: error["message"] for error in answer.json["errors"]}


def ask(service: Service, **more: Any) -> dict[str, Any]:
    answer = service.post("/wear/estimate", {**QUESTION, **more}, "plan")
    assert answer.status_code == 200, answer.text
    found: dict[str, Any] = answer.json
    return found


def test_a_measured_radius_moves_and_narrows_the_forecast(shared: Service) -> None:
    before = ask(shared)
    assert before["rate"] == {"mean": 1, "low": 0.4, "high": 1.6, "measurements": 0, "blade": None}
    assert before["days_left"] == pytest.approx(100)
    # Worn at 150 µm: 60 µm are a share of 0.4 where the estimate says 0.5.
    after = ask(shared, measurements=[{"radius_um": 60, "blade": "upper"}])
    assert after["rate"]["mean"] == pytest.approx(0.8615, abs=1e-4)
    assert after["rate"]["high"] - after["rate"]["low"] < 1.2
    assert after["days_left"] == pytest.approx(100 * (1 / 0.86154 - 0.5) / 0.5, rel=1e-4)


def test_a_measurement_says_when_and_where_it_was_taken(shared: Service) -> None:
    half = ask(shared, measurements=[{"radius_um": 37.5, "share_of_cuts": 0.5}])
    assert half["rate"]["mean"] == pytest.approx(1)
    unused = ask(shared, measurements=[{"radius_um": 60, "place": 2500}])
    assert unused["rate"]["mean"] == pytest.approx(1)
    burr = ask(shared, measurements=[{"burr_mm": 0.6, "thickness": 6}])
    assert burr["rate"]["mean"] > 1


def test_a_burr_that_wear_does_not_explain_is_said_and_not_averaged(shared: Service) -> None:
    burr = {"burr_mm": 0.7, "thickness": 6, "share_of_cuts": 0.02}
    found = ask(shared, measurements=[burr, burr, burr])
    assert found["rate"]["measurements"] == 0
    codes = [one["code"] for one in found["findings"] if one["level"] == "caution"]
    assert codes[:2] == ["burr-high", "burr-not-wear"]


def test_a_radius_that_contradicts_the_estimate_leaves_the_forecast_wide(shared: Service) -> None:
    found = ask(shared, measurements=[{"radius_um": 400}])
    assert found["rate"]["high"] - found["rate"]["low"] > 3
    assert "measurements-disagree" in {one["code"] for one in found["findings"]}


def test_the_answer_tells_cost_burr_and_what_moving_the_work_gains(shared: Service) -> None:
    plain = ask(shared)
    assert plain["cost_per_metre"] is None
    priced = ask(shared, prices={"set_price": 3000, "regrinds": 3, "regrind_price": 600})
    # 4800 over 3000 m · 4 edges · 4 lives.
    assert priced["cost_per_metre"] == pytest.approx(4800 / 48_000)
    assert plain["spread"] == {"shift_mm": 1000, "gain": 2}
    assert "spread-wear" in {finding["code"] for finding in plain["findings"]}
    (burr,) = plain["burrs"]
    assert (burr["material"], burr["thickness_mm"], burr["limit_mm"]) == ("plain steel", 6, 0.6)
    assert 0 < burr["expected_mm"] < 0.6


@pytest.mark.parametrize(
    ("measurement", "field"),
    [
        ({}, "radius_um"),
        ({"burr_mm": 0.1}, "thickness"),
        ({"radius_um": 0}, "radius_um"),
        ({"radius_um": 0.12}, "radius_um"),
        ({"radius_um": 40_000}, "radius_um"),
        ({"radius_um": 50, "blade": "middle"}, "blade"),
        ({"radius_um": 50, "place": 3001}, "place"),
        ({"radius_um": 50, "share_of_cuts": 1.1}, "share_of_cuts"),
    ],
)
def test_a_measurement_that_cannot_be_is_named(
    shared: Service, measurement: dict[str, Any], field: str
) -> None:
    answer = shared.post("/wear/estimate", {**QUESTION, "measurements": [measurement]})
    assert f"/measurements/0/{field}" in told(answer)


def edge_measured(**changes: Any) -> dict[str, Any]:
    return {"machine": "bench-3m", "radius_um": 30.0, **changes}


def cut_plate(station: Station, strokes: int, **more: Any) -> dict[str, Any]:
    """Full strokes of the rated plate along two metres of the blade."""
    plate = {"material": "plain steel", "thickness_mm": 6, "cut_length_mm": 2000, "parts": []}
    return station.cut(**plate, strokes=strokes, equivalent_m=2.0 * strokes, **more)


def wear(service: Service) -> dict[str, Any]:
    answer = service.get("/wear/blades/bench-3m", "report")
    assert answer.status_code == 200, answer.text
    found: dict[str, Any] = answer.json
    return found


def test_what_was_measured_at_the_machine_is_learnt(service: Service, station: Station) -> None:
    service.push([cut_plate(station, 4000)])
    before = wear(service)
    assert before["share_used"] == pytest.approx(0.2)  # 60 000 m over 3 m are 20 000 passes
    result = service.push([station.write("edge.measured", edge_measured())])
    assert result.json["results"][0]["state"] == "applied"
    after = wear(service)
    assert after["rate"]["measurements"] == 1
    assert after["rate"]["mean"] == pytest.approx(1)
    assert after["rate"]["high"] < before["rate"]["high"]
    assert service.get("/blades/bench-3m").json["used_m"] == [8000, 0, 0, 0]


def test_where_along_the_blade_was_cut_counts(service: Service, station: Station) -> None:
    service.push([cut_plate(station, 10), cut_plate(station, 10, start_mm=1000)])
    bands = [(band["start_mm"], band["end_mm"], band["passes"]) for band in wear(service)["use"]["bands"]]
    assert bands == [(0, 1000, 10), (1000, 2000, 20), (2000, 3000, 10)]


def test_a_cut_beyond_the_blade_is_counted_at_its_end_and_said(service: Service, station: Station) -> None:
    service.push([cut_plate(station, 10)])
    assert "beyond-blade" not in {finding["code"] for finding in wear(service)["findings"]}
    service.push([cut_plate(station, 10, start_mm=2500)])
    found = wear(service)
    bands = [(band["start_mm"], band["end_mm"], band["passes"]) for band in found["use"]["bands"]]
    assert bands == [(0, 1000, 10), (1000, 2000, 20), (2000, 3000, 10)]
    assert found["use"]["metres"] == pytest.approx(40)
    (said,) = [finding for finding in found["findings"] if finding["code"] == "beyond-blade"]
    assert (said["level"], said["message"][:10]) == ("caution", "1 entry is")


def test_the_burr_is_judged_by_the_gap_of_the_machines_own_table(shared: Service) -> None:
    """6 mm at 0.8 of the table, wider than the material's 0.48: what the maker asks for adds no burr."""
    table = [{"rm_n_mm2": rm, "thickness_mm": 6, "gap_mm": 0.8} for rm in (300, 600)]
    gap = {"low_mm": 0.05, "high_mm": 1.0, "step_mm": 0.05}
    with_table = machine(site=None, edge_life_m=3000, gap_table=table, gap=gap)
    (plain,), (by_table,) = (ask(shared, **more)["burrs"] for more in ({}, {"machine": with_table}))
    assert by_table["expected_mm"] == plain["expected_mm"]


def test_turning_puts_a_fresh_edge_to_work_and_turning_back_the_old_one(
    service: Service, station: Station
) -> None:
    turn = {"machine": "bench-3m", "edge": 2, "work": "turned"}
    service.push([cut_plate(station, 4000), station.write("blade.turned", turn)])
    assert wear(service)["share_used"] == 0
    service.push([station.write("blade.turned", {**turn, "edge": 1})])
    assert wear(service)["share_used"] == pytest.approx(0.2)
    service.push([station.write("blade.turned", {**turn, "edge": 1, "work": "reground"})])
    assert wear(service)["share_used"] == 0


def test_use_that_only_the_record_knows_of_is_spread_and_said(service: Service, station: Station) -> None:
    used = {"id": "bench-3m", "machine": "bench-3m", "used_m": [6000, 0, 0, 0], "set_price": 3000}
    assert service.post("/blades", used).status_code == 201
    service.push([cut_plate(station, 1000)])
    found = wear(service)
    assert "place-unknown" in {finding["code"] for finding in found["findings"]}
    assert found["use"]["equivalent_metres"] == pytest.approx(8000)
    assert found["cost_per_metre"] == pytest.approx(3000 / 240_000)


def test_a_blade_put_on_later_does_not_inherit_the_cuts_of_the_one_before(
    service: Service, station: Station
) -> None:
    service.push([cut_plate(station, 4000), station.write("edge.measured", edge_measured(radius_um=100.0))])
    kept = service.get("/blades/bench-3m")
    off = {**kept.json, "machine": None}
    assert service.put("/blades/bench-3m", off, headers={"If-Match": kept.headers["ETag"]}).status_code == 200
    new = {"id": "B-2", "machine": "bench-3m", "edge_since": "2026-03-02T10:00:00Z"}
    assert service.post("/blades", new).status_code == 201
    answer = service.get("/wear/blades/B-2", "report").json
    assert (answer["share_used"], answer["rate"]["measurements"]) == (0, 0)


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"radius_um": None}, "/payload/radius_um"),
        ({"radius_um": -1.0}, "/payload/radius_um"),
        ({"burr_mm": 0.2}, "/payload/thickness_mm"),
        ({"edge": 5}, "/payload/edge"),
        ({"blade": "left"}, "/payload/blade"),
        ({"place_mm": 3000.5}, "/payload/place_mm"),
        ({"machine": "none"}, "/payload/machine"),
    ],
)
def test_a_measurement_that_cannot_be_is_kept_aside_and_told_why(
    small: Service, station: Station, change: dict[str, Any], pointer: str
) -> None:
    result = small.push([station.write("edge.measured", edge_measured(**change))]).json["results"][0]
    assert result["state"] == "quarantined"
    assert [error["pointer"] for error in result["errors"]] == [pointer]


def test_an_edge_that_the_blade_lacks_is_kept_aside(small: Service, station: Station) -> None:
    assert small.post("/blades", {"id": "B", "machine": "bench-3m", "edges": 2}).status_code == 201
    result = small.push([station.write("edge.measured", edge_measured(edge=3))]).json["results"][0]
    assert (result["state"], result["errors"][0]["pointer"]) == ("quarantined", "/payload/edge")


def test_measurements_leave_the_wear_report_as_it_is(service: Service, station: Station) -> None:
    service.push([cut_plate(station, 10)])
    query = {"query_string": {"by": "machine"}}
    before = service.get("/reports/wear", "report", **query).json
    service.push([station.write("edge.measured", edge_measured())])
    assert service.get("/reports/wear", "report", **query).json == before
