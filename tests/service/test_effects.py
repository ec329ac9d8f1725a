"""What an event does to the rack, the blade and the sums; a recount from the events gives the same."""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.store import audits, tally
from service.store.database import connected, database
from service.store.models import Event
from tests.service.shop import NOW, Service, Station, cuts_made, piece, rows, states


def test_stock_taken_leaves_the_rack_and_offcuts_come_back_to_it(service: Service, station: Station) -> None:
    offcut = {**piece(length_mm=2500, width_mm=645), "ref": "OC-1", "heat": "H123"}
    service.push(
        [
            station.write("stock.taken", {**piece(quantity=3), "ref": "SH-A"}),
            station.write("offcut.stored", offcut),
            station.write("offcut.stored", offcut),
        ]
    )
    assert service.get("/stock/northgate/SH-A").json["quantity"] == 5
    stored = service.get("/stock/northgate/OC-1").json
    assert (stored["quantity"], stored["kind"], stored["edges"]) == (2, "offcut", "cut")
    assert (stored["length"], stored["width"], stored["heat"]) == (2500, 645, "H123")
    other = station.write("offcut.stored", {**offcut, "width_mm": 640})
    assert states(service.push([other])) == ["quarantined"]


@pytest.mark.parametrize(("ref", "there"), [("SH-A", 8), ("SH-Z", 0)])
def test_stock_taken_beyond_the_books_is_kept_and_shown(
    service: Service, station: Station, ref: str, there: int
) -> None:
    event = station.write("stock.taken", {**piece(quantity=9), "ref": ref})
    assert states(service.push([event])) == ["applied"]
    (found,) = service.get("/sync/discrepancies").json["items"]
    assert (found["ref"], found["taken"], found["on_the_books"]) == (ref, 9, there)
    assert found["event_id"] == event["event_id"]
    if there:
        assert service.get("/stock/northgate/SH-A").json["quantity"] == 0
    assert rows(service, "yield")[0]["taken_kg"] == 73.6


def test_blade_use_adds_up_on_the_edge_at_work_and_begins_anew_when_reground(
    service: Service, station: Station
) -> None:
    service.push([station.cut(equivalent_m=0.1) for _ in range(3)])
    assert service.get("/blades/bench-3m").json["used_m"] == [0.3, 0, 0, 0]
    turned = {"machine": "bench-3m", "edge": 2, "work": "turned"}
    service.push([station.write("blade.turned", turned), station.cut(equivalent_m=5)])
    blade = service.get("/blades/bench-3m").json
    assert (blade["edge"], blade["used_m"]) == (2, [0.3, 5, 0, 0])
    service.push([station.write("blade.turned", {**turned, "edge": 1, "work": "reground"})])
    blade = service.get("/blades/bench-3m").json
    assert (blade["edge"], blade["used_m"], blade["regrinds"]) == (1, [0, 0, 0, 0], 1)


def test_the_day_is_counted_by_the_clock_on_the_wall_of_the_site(service: Service, station: Station) -> None:
    # Summer time in London begins on 2026-03-29: 23:30 UTC is 00:30 of the next day.
    service.push([station.cut(happened_at="2026-03-28T23:30:00Z")])
    service.push([station.cut(happened_at="2026-03-29T23:30:00Z")])
    service.secrets["far"] = service.token("station", site="fell-road", station="fr-1")
    far = Station("fr-1")
    service.push([far.cut(machine="far-2m", happened_at="2026-03-01T12:30:00Z")], "far")
    assert [(row["site"], row["day"]) for row in rows(service)] == [
        ("fell-road", "2026-03-02"),
        ("northgate", "2026-03-28"),
        ("northgate", "2026-03-30"),
    ]


def test_a_wrong_clock_is_corrected_in_reports_and_kept_in_the_event(
    service: Service, station: Station
) -> None:
    event = station.cut(happened_at="2026-03-04T09:00:00Z")
    service.push([event], sent_at=(NOW + timedelta(days=2)).isoformat())
    assert rows(service)[0]["day"] == "2026-03-02"
    with connected():
        row = Event.get()
        assert row.document["happened_at"] == "2026-03-04T09:00:00Z"
        assert row.clock_ahead_ms == 2 * 86_400_000
    told = service.get("/sync/stations/ng-1", "station").json["epochs"][0]
    assert told["clock_ahead_ms"] == 2 * 86_400_000


_PAYLOADS = st.one_of(
    st.builds(
        lambda strokes, metres, mass, edge: ("cuts.made", cuts_made(
            strokes=strokes, equivalent_m=metres, blade_edge=edge,
            parts=[{"ref": "P", "length_mm": 1, "width_mm": 1, "quantity": strokes, "mass_kg": mass}],
        )),
        st.integers(-1, 50), st.floats(0, 1e4), st.floats(0, 1e4), st.integers(1, 5),
    ),
    st.builds(
        lambda kind, mass, band, reason: (kind, {
            **piece(mass_kg=mass, thickness_mm=band),
            **({"reason": reason} if kind == "scrap.made" else {"ref": "SH-A"}),
        }),
        st.sampled_from(["stock.taken", "offcut.stored", "scrap.made"]),
        st.floats(0, 1e4), st.sampled_from([0.5, 3, 12.5]), st.sampled_from(["trim", "burr"]),
    ),
    st.just(("coolant.changed", {})),
)  # fmt: skip


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    written=st.lists(st.tuples(_PAYLOADS, st.integers(1, 28)), max_size=12),
    cuts=st.lists(st.integers(0, 12), max_size=4),
)
def test_a_recount_from_the_events_is_equal_to_the_roll_ups(
    service: Service, written: list[Any], cuts: list[int]
) -> None:
    """However the events are cut into pushes, and however often they are sent."""
    name = f"ng-{uuid.uuid4().hex[:8]}"
    service.secrets[name] = service.token("station", site="northgate", station=name)
    outbox = Station(name)
    events = [
        outbox.write(kind, payload, happened_at=f"2026-02-{day:02d}T08:00:00Z")
        for (kind, payload), day in written
    ]
    with connected():
        before = sum(sums["scrap_pieces"] for sums in tally.recount().values())
    for end in [*sorted(cuts), len(events)]:
        if events[:end]:
            assert service.push(events[:end], name).status_code == 200
    with connected():
        assert audits.audit() == []
        scrap = sum(kind == "scrap.made" for (kind, _), _ in written)
        counted = sum(sums["scrap_pieces"] for sums in tally.recount().values())
    assert counted - before == scrap


def test_an_audit_finds_a_figure_that_was_tampered_with(service: Service, station: Station) -> None:
    service.push([station.cut()])
    with connected():
        database.execute_sql("UPDATE tally SET parts = parts + 1")
        (found,) = audits.audit()
    assert (found.measure, found.kept, found.counted) == ("parts", 5, 4)


def test_offcuts_do_not_add_up_beyond_belief(service: Service, station: Station) -> None:
    offcut = {**piece(quantity=600_000), "ref": "OC-1"}
    events = [station.write("offcut.stored", offcut) for _ in range(2)]
    assert states(service.push(events)) == ["applied", "quarantined"]
    assert service.get("/stock/northgate/OC-1").json["quantity"] == 600_000
