"""The use of every blade, counted anew from its cuts, turns, withdrawals and changes by hand."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.store import audits, records
from service.store.database import connected, database
from service.store.models import BladeSet, CutSum, Event
from tests.service.shop import Service, Station

TURNED = {"machine": "bench-3m", "edge": 2, "work": "turned"}
GROUND = {"machine": "bench-3m", "edge": 1, "work": "reground"}


def put(service: Service, **changes: Any) -> None:
    document = {**service.get("/blades/bench-3m").json, **changes}
    answer = service.put("/blades/bench-3m", document, headers={"If-Match": "*"})
    assert answer.status_code == 200, answer.text


def blade(service: Service) -> dict[str, Any]:
    found: dict[str, Any] = service.get("/blades/bench-3m").json
    return found


@pytest.fixture
def worked(service: Service, station: Station) -> Service:
    """A blade that was cut with, turned, set by hand, reground, and of which a cut was withdrawn."""
    events = [station.cut(equivalent_m=metres) for metres in (2, 4)]
    gone = events[1]
    events.append(station.cut(equivalent_m=1, blade_edge=3))
    service.push([*events, station.write("blade.turned", TURNED), station.cut(equivalent_m=3)])
    put(service, used_m=[10, 3, 1, 0])
    events = [station.cut(equivalent_m=0.5), station.write("blade.turned", GROUND), station.cut()]
    undone = station.write("log.withdrawn", {"event_id": gone["event_id"], "reason": "twice"})
    assert service.push([*events, undone]).status_code == 200
    return service


def set_wrong(sql: str) -> None:
    with connected():
        database.execute_sql(sql)


@pytest.mark.parametrize(
    ("sql", "told"),
    [
        (
            """UPDATE record SET document = replace(document, '[0.6,', '[0.7,') WHERE kind = 'blade'""",
            ["blade bench-3m used on edge 1: kept 0.7 m, counted 0.6 m"],
        ),
        (
            """UPDATE record SET document = replace(document, '"regrinds":1', '"regrinds":0')
             WHERE kind = 'blade'""",
            ["blade bench-3m regrinds: kept 0, counted 1"],
        ),
        (
            "UPDATE event SET blade_edge = 4 WHERE blade_edge = 2 AND record_revision = 5",
            ["blade bench-3m edge of cuts after step 2: kept 4, counted 2"],
        ),
        (
            "UPDATE event SET blade_before = replace(blade_before, '3.5', '3.6') WHERE record_revision = 8",
            [
                "blade bench-3m as it was before revision 8: kept edge 2 since 2026-03-02T09:15:00+00:00, "
                "used 6 and 3.6 and 1 and 0 m, 0 regrinds, counted edge 2 since 2026-03-02T09:15:00+00:00, "
                "used 6 and 3.5 and 1 and 0 m, 0 regrinds"
            ],
        ),
        (
            "UPDATE cut_sum SET strokes = strokes + 1 WHERE edge = 3",
            [
                "cuts of bench-3m in the hour from 2026-03-02T09:00+00:00 3/S235JR/300/0/30000 strokes: "
                "kept 5, counted 4"
            ],
        ),
    ],
    ids=["use", "regrinds", "the edge of a cut", "what it was before a turn", "cuts of an hour"],
)
def test_a_figure_that_is_wrong_is_named_and_mended(worked: Service, sql: str, told: list[str]) -> None:
    with connected():
        assert audits.audit() == []
    before = blade(worked)
    set_wrong(sql)
    with connected():
        assert [audits.told(one) for one in audits.audit()] == told
        assert [audits.told(one) for one in audits.mend()] == told
        assert audits.audit() == []
        sets = BladeSet.select().count()
    assert blade(worked) == before
    with connected():
        # It was mended, and nobody set it by hand.
        assert BladeSet.select().count() == sets


def test_stations_are_told_of_a_blade_that_was_mended(worked: Service) -> None:
    cursor = worked.get("/sync/changes", "station").json["cursor"]
    set_wrong("UPDATE record SET document = replace(document, '[0.6,', '[0.7,') WHERE kind = 'blade'")
    with connected():
        assert len(audits.mend()) == 1
    changes = worked.get("/sync/changes", "station", query_string={"cursor": cursor}).json["changes"]
    assert [change["record"]["used_m"] for change in changes] == [[0.6, 0, 0, 0]]


def test_a_blade_entered_anew_under_the_same_name_is_another_one(service: Service, station: Station) -> None:
    cut, turn = station.cut(equivalent_m=5), station.write("blade.turned", TURNED)
    service.push([cut, turn])
    assert service.ask("DELETE", "/blades/bench-3m", headers={"If-Match": "*"}).status_code == 204
    anew = {"id": "bench-3m", "machine": "bench-3m", "used_m": [7, 0, 0, 0]}
    assert service.post("/blades", anew).status_code == 201
    events = [station.cut(equivalent_m=1)]
    for gone in (cut, turn):
        events.append(station.write("log.withdrawn", {"event_id": gone["event_id"], "reason": "wrong"}))
    answer = service.push(events)
    assert {one["state"] for one in answer.json["results"]} == {"applied"}, answer.text
    assert (blade(service)["edge"], blade(service)["used_m"]) == (1, [8, 0, 0, 0])
    with connected():
        assert audits.audit() == []


def test_a_blade_begun_under_the_name_of_one_that_is_gone_is_another_one(
    service: Service, station: Station
) -> None:
    cut = station.cut(equivalent_m=5)
    service.push([cut])
    assert service.ask("DELETE", "/blades/bench-3m", headers={"If-Match": "*"}).status_code == 204
    service.push([station.cut(equivalent_m=1)])
    service.push([station.write("log.withdrawn", {"event_id": cut["event_id"], "reason": "wrong"})])
    assert blade(service)["used_m"] == [1, 0, 0, 0]
    with connected():
        assert audits.audit() == []


def test_use_beyond_the_edges_that_are_left_is_taken_back_before_them(
    service: Service, station: Station
) -> None:
    """A blade that got fewer edges by hand; before that it was turned."""
    cut = station.cut(equivalent_m=5, blade_edge=4)
    service.push([cut, station.write("blade.turned", TURNED)])
    put(service, edges=2, used_m=[0, 0])
    service.push([station.write("log.withdrawn", {"event_id": cut["event_id"], "reason": "wrong"})])
    with connected():
        before = Event.select(Event.blade_before).where(Event.type == "blade.turned").scalar()
        assert before["used_m"] == [0, 0, 0, 0]
        assert audits.audit() == []


def test_a_refused_event_begins_no_blade(service: Service, station: Station) -> None:
    answer = service.push([station.cut(blade_edge=9), station.cut(equivalent_m=1)])
    assert [one["state"] for one in answer.json["results"]] == ["quarantined", "applied"]
    with connected():
        assert BladeSet.select().count() == 1
        assert audits.audit() == []


DEEDS = st.lists(
    st.one_of(
        st.tuples(st.just("cut"), st.integers(0, 3), st.integers(1, 9000)),
        st.tuples(st.just("turn"), st.integers(1, 3), st.sampled_from(["turned", "reground", "replaced"])),
        st.tuples(st.just("hand"), st.integers(1, 3), st.integers(0, 9)),
        st.tuples(st.just("withdraw"), st.integers(0, 20), st.none()),
        st.tuples(st.just("anew"), st.none(), st.none()),
    ),
    max_size=14,
)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(deeds=DEEDS)
def test_whatever_is_withdrawn_in_whatever_order_the_recount_agrees(small: Service, deeds: Any) -> None:
    station, written = Station(epoch=None), []
    for kind, number, more in [("anew", None, None), *deeds]:
        if kind == "cut":
            said = {"blade_edge": number} if number else {}
            event = station.cut(equivalent_m=more / 1000, **said)
        elif kind == "turn":
            event = station.write("blade.turned", {"machine": "bench-3m", "edge": number, "work": more})
        elif kind == "withdraw":
            if not written:
                continue
            gone = written.pop(number % len(written))
            event = station.write("log.withdrawn", {"event_id": gone["event_id"], "reason": "wrong"})
        elif kind == "hand":
            used = [0.0, 0.0, 0.0, 0.0]
            used[number - 1] = float(more)
            # The edge at work is what it is, or is set as well.
            put(small, used_m=used, **({"edge": number} if more % 2 else {}))
            continue
        else:
            with connected():
                there = records.find("blade", "bench-3m") is not None
            if there:
                small.ask("DELETE", "/blades/bench-3m", headers={"If-Match": "*"})
            fresh = {"id": "bench-3m", "machine": "bench-3m", "edges": 4}
            assert small.post("/blades", fresh).status_code == 201
            continue
        answer = small.push([event])
        assert answer.json["results"][0]["state"] == "applied", answer.text
        if kind != "withdraw":
            written.append(event)
    with connected():
        assert [audits.told(one) for one in audits.audit()] == []
        assert CutSum.select().where(CutSum.events < 0).count() == 0
