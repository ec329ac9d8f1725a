"""Sync: nothing lost, nothing counted twice, nobody else's; on both databases."""

from __future__ import annotations

import threading
import uuid
from datetime import timedelta
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from schemas.events import FIRST_HASH, PushAnswerSchema, event_hash
from service.store import audits, records, tally, tokens
from service.store import feed as feed_of
from service.store.database import connected, database
from service.store.models import Event
from tests.service.shop import NOW, Service, Station, cuts_made, machine, piece, sheet, states


def rows(service: Service, name: str = "throughput", by: str = "site,day", **query: str) -> Any:
    answer = service.get(f"/reports/{name}", query_string={"by": by, **query})
    assert answer.status_code == 200, answer.text
    return answer.json["rows"]


def test_a_push_says_how_far_the_centre_has_the_station(service: Service, station: Station) -> None:
    answer = service.push([station.cut(), station.cut()])
    assert states(answer) == ["applied", "applied"]
    assert (answer.json["epoch"], answer.json["has_to_seq"]) == (station.epoch, 2)
    assert answer.json["last_hash"] == station.last
    assert not PushAnswerSchema().validate(answer.json)
    asked = service.get("/sync/stations/ng-1", "station").json
    assert (asked["has_to_seq"], asked["last_hash"]) == (2, station.last)
    assert [epoch["epoch"] for epoch in asked["epochs"]] == [station.epoch]


def test_a_station_never_heard_of_begins_at_nothing(service: Service) -> None:
    asked = service.get("/sync/stations/ng-1", "station").json
    assert (asked["epoch"], asked["has_to_seq"], asked["last_hash"]) == (None, 0, FIRST_HASH)


def test_a_repeat_is_acknowledged_and_not_counted_again(service: Service, station: Station) -> None:
    events = [station.cut(), station.cut()]
    service.push(events)
    once = rows(service)
    assert states(service.push(events)) == ["repeat", "repeat"]
    assert states(service.push([*events, station.cut()])) == ["repeat", "repeat", "applied"]
    assert once[0]["parts"] == 8
    assert rows(service)[0]["parts"] == 12


def test_a_fork_is_refused_as_a_whole(service: Service, station: Station) -> None:
    service.push([station.cut()])
    twin = Station(epoch=station.epoch)
    answer = service.push([twin.cut(strokes=9), twin.cut()])
    assert answer.status_code == 409
    assert answer.content_type == "application/problem+json"
    assert answer.json["type"] == "/problems/fork"
    assert (answer.json["has_to_seq"], answer.json["last_hash"]) == (1, station.last)
    assert rows(service)[0]["strokes"] == 4
    # In a new epoch the same comes through.
    fresh = Station()
    assert states(service.push([fresh.cut(strokes=9), fresh.cut()])) == ["applied", "applied"]


def test_an_event_that_does_not_follow_the_last_is_a_fork_and_takes_the_good_ones_with_it(
    service: Service, station: Station
) -> None:
    good = station.cut()
    station.last = "f" * 64
    answer = service.push([good, station.cut()])
    assert answer.json["type"] == "/problems/fork"
    assert rows(service) == []
    assert service.get("/sync/stations/ng-1", "station").json["has_to_seq"] == 0


def test_a_gap_is_refused_and_says_from_where_to_send(service: Service, station: Station) -> None:
    first, second, third = station.cut(), station.cut(), station.cut()
    service.push([first])
    answer = service.push([third])
    assert answer.status_code == 409
    assert answer.json["type"] == "/problems/gap"
    assert answer.json["has_to_seq"] == 1
    assert "send from 2 on" in answer.json["detail"]
    assert states(service.push([second, third])) == ["applied", "applied"]


def test_a_bad_payload_is_kept_with_its_reason_and_stops_nothing(service: Service, station: Station) -> None:
    bad = station.write("cuts.made", cuts_made(strokes=-1))
    answer = service.push([bad, station.cut()])
    assert states(answer) == ["quarantined", "applied"]
    assert answer.json["results"][0]["errors"][0]["pointer"] == "/payload/strokes"
    held = service.get("/sync/quarantine").json["items"]
    assert [one["event"] for one in held] == [bad]
    assert held[0]["errors"][0]["message"] == "a number from 1 to 1e+06 is wanted"
    assert states(service.push([bad])) == ["repeat"]


def test_an_unknown_type_is_kept_and_its_chain_goes_on(service: Service, station: Station) -> None:
    new = station.write("coolant.changed", {"litres": 4, "zero": "\0"})
    assert states(service.push([new, station.cut()])) == ["kept", "applied"]
    assert [one["event"] for one in service.get("/sync/quarantine").json["items"]] == [new]
    assert service.get("/reports/scrap").json["unapplied_events"] == 1


def test_an_event_of_an_unknown_machine_waits_until_the_machine_is_known(
    service: Service, station: Station
) -> None:
    answer = service.push([station.cut(machine="bench-4m")])
    assert states(answer) == ["quarantined"]
    assert "bench-4m" in answer.json["results"][0]["errors"][0]["message"]
    number = service.get("/sync/quarantine").json["items"][0]["id"]
    assert service.post(f"/sync/quarantine/{number}/retry", {}).json["state"] == "quarantined"
    service.post("/machines", machine("bench-4m"))
    assert service.post(f"/sync/quarantine/{number}/retry", {}).json["state"] == "applied"
    assert rows(service)[0]["parts"] == 4
    assert service.post(f"/sync/quarantine/{number}/retry", {}).status_code == 404
    assert service.get("/sync/quarantine").json["items"] == []


def test_a_machine_of_another_site_is_not_worked_by_this_station(service: Service, station: Station) -> None:
    answer = service.push([station.cut(machine="far-2m")])
    assert states(answer) == ["quarantined"]
    assert "stands at fell-road" in answer.json["results"][0]["errors"][0]["message"]


def test_an_event_sent_again_in_a_new_epoch_is_counted_once(service: Service, station: Station) -> None:
    event = station.cut()
    service.push([event])
    fresh = Station()
    again = fresh.write("cuts.made", event["payload"], event_id=event["event_id"])
    assert states(service.push([again, fresh.cut()])) == ["repeat", "applied"]
    assert rows(service)[0]["parts"] == 8


def test_one_event_id_with_two_contents_is_looked_at_by_a_person(service: Service, station: Station) -> None:
    event = station.cut()
    other = station.write("cuts.made", cuts_made(strokes=7), event_id=event["event_id"])
    assert states(service.push([event, other])) == ["applied", "quarantined"]


def test_a_damaged_event_is_replaced_by_the_right_one_of_the_same_hash(
    service: Service, station: Station
) -> None:
    right = station.cut()
    damaged = {**right, "payload": {**right["payload"], "strokes": 5}}
    assert states(service.push([damaged, station.cut()])) == ["quarantined", "applied"]
    assert states(service.push([right])) == ["applied"]
    assert rows(service)[0]["strokes"] == 8
    assert service.get("/sync/quarantine").json["items"] == []


def test_the_token_of_a_station_pushes_for_that_station_only(service: Service) -> None:
    answer = service.push([Station("ng-2").cut()])
    assert answer.status_code == 403
    stranger = Station().cut()
    stranger["station"] = "ng-2"
    document = {"station": "ng-1", "sent_at": NOW.isoformat(), "events": [stranger]}
    answer = service.post("/sync/events", document, "station")
    assert answer.status_code == 422
    assert answer.json["errors"][0]["pointer"] == "/events/0/station"
    assert service.get("/sync/stations/ng-2", "station").status_code == 403
    assert service.push([Station().cut()], "admin").status_code == 403


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


def program(revision: int, gauge: float = 300, **changes: Any) -> dict[str, Any]:
    return {
        "program_id": "flange-a",
        "name": "Flange A",
        "machine": "bench-3m",
        "material": "S235JR",
        "thickness_mm": 3,
        "cut_length_mm": 2500,
        "steps": [{"gauge_mm": gauge}],
        "based_on_revision": revision,
        **changes,
    }


def test_a_program_based_on_an_old_revision_becomes_a_visible_copy(
    service: Service, station: Station
) -> None:
    service.push([station.write("program.saved", program(0))])
    kept = service.get("/programs/flange-a")
    assert kept.headers["ETag"] == '"1"'
    changed = {**kept.json, "steps": [{"gauge_mm": 310}]}
    assert service.put("/programs/flange-a", changed, headers={"If-Match": '"1"'}).status_code == 200
    stale = station.write("program.saved", program(1, 305))
    assert states(service.push([stale])) == ["applied"]
    listed = service.get("/programs").json["items"]
    assert [one["steps"][0]["gauge_mm"] for one in listed] == [310, 305]
    assert listed[1]["copy_of"] == "flange-a"
    assert "copy from ng-1" in listed[1]["name"]


def test_a_copy_of_a_program_with_the_longest_names_keeps_the_contract(
    service: Service, station: Station
) -> None:
    longest = {"program_id": "p" * 100, "name": "n" * 200}
    service.push([station.write("program.saved", program(0, **longest))])
    kept = service.get(f"/programs/{'p' * 100}")
    changed = {**kept.json, "steps": [{"gauge_mm": 310}]}
    assert service.put(f"/programs/{'p' * 100}", changed, headers={"If-Match": '"1"'}).status_code == 200
    service.push([station.write("program.saved", program(1, 305, **longest))])
    copy = next(one for one in service.get("/programs").json["items"] if one["copy_of"] is not None)
    assert len(copy["id"]) <= 100
    assert len(copy["name"]) <= 200
    assert copy["name"].endswith("(copy from ng-1, revision 1)")
    # So it can be taken up at a bench and in the office like any other.
    again = station.write("program.saved", program(1, 306, program_id=copy["id"], name=copy["name"]))
    assert states(service.push([again])) == ["applied"]
    found = service.get(f"/programs/{copy['id']}")
    answer = service.put(f"/programs/{copy['id']}", found.json, headers={"If-Match": found.headers["ETag"]})
    assert answer.status_code == 200


@pytest.mark.parametrize("name", [".", ".."])
def test_a_program_under_a_name_that_is_no_address_is_refused(
    service: Service, station: Station, name: str
) -> None:
    assert states(service.push([station.write("program.saved", program(0, program_id=name))])) == [
        "quarantined"
    ]
    document = {
        key: value for key, value in program(0).items() if key not in {"program_id", "based_on_revision"}
    }
    answer = service.post("/programs", {**document, "id": name})
    assert answer.status_code == 422
    assert answer.json["errors"][0]["pointer"] == "/id"


def test_a_stations_own_changes_in_a_row_are_no_conflict(service: Service, station: Station) -> None:
    saved = [station.write("program.saved", program(0, gauge)) for gauge in (300, 301, 302)]
    service.push(saved)
    (one,) = service.get("/programs").json["items"]
    assert one["steps"][0]["gauge_mm"] == 302


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


def test_identical_pushes_at_once_count_once(service: Service, station: Station) -> None:
    events = [station.cut() for _ in range(5)]
    answers: list[Any] = []

    def send() -> None:
        client = service.app.test_client()
        document = {"station": "ng-1", "sent_at": NOW.isoformat(), "events": events}
        headers = {"Authorization": f"Bearer {service.secrets['station']}"}
        answers.append(client.post("/v1/sync/events", json=document, headers=headers))

    threads = [threading.Thread(target=send) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [answer.status_code for answer in answers] == [200] * 8
    applied = [state for answer in answers for state in states(answer) if state == "applied"]
    assert len(applied) == 5
    assert rows(service)[0]["parts"] == 20


def test_a_station_sees_its_own_site_and_all_materials(service: Service) -> None:
    seen = service.get("/sync/changes", "station").json
    assert {(change["kind"], change["id"]) for change in seen["changes"]} == {
        ("site", "northgate"),
        ("machine", "bench-3m"),
        ("stock", "northgate/SH-A"),
    }
    everything = service.get("/sync/changes").json
    assert ("machine", "far-2m") in {(one["kind"], one["id"]) for one in everything["changes"]}
    assert (
        service.get("/sync/changes", "station", query_string={"cursor": seen["cursor"]}).json["changes"] == []
    )


def feed(service: Service, cursor: str | None, scope: str = "station", limit: int = 2) -> tuple[Any, str]:
    """Everything since a cursor, page by page."""
    changes, more = [], True
    while more:
        query = {"limit": limit} | ({"cursor": cursor} if cursor else {})
        page = service.get("/sync/changes", scope, query_string=query).json
        changes += page["changes"]
        cursor, more = page["cursor"], page["more"]
    assert cursor is not None
    return changes, cursor


def test_the_feed_tells_of_changes_deletions_and_moves(service: Service) -> None:
    _, cursor = feed(service, None)
    service.put("/stock/northgate/SH-A", sheet(quantity=4), headers={"If-Match": '"1"'})
    service.ask("DELETE", "/stock/northgate/SH-A", headers={"If-Match": '"2"'})
    service.put("/machines/bench-3m", machine(site="fell-road"), headers={"If-Match": '"1"'})
    service.put("/machines/far-2m", machine("far-2m"), headers={"If-Match": '"1"'})
    changes, cursor = feed(service, cursor)
    told = {(one["kind"], one["id"]): one for one in changes}
    assert told["stock", "northgate/SH-A"]["deleted"]
    assert told["stock", "northgate/SH-A"]["record"] is None
    assert told["machine", "bench-3m"]["deleted"]
    assert told["machine", "far-2m"]["record"]["site"] == "northgate"
    assert feed(service, cursor)[0] == []
    # And back again.
    service.put("/machines/bench-3m", machine(), headers={"If-Match": '"2"'})
    (back,), _ = feed(service, cursor)
    assert not back["deleted"]


def test_a_cursor_of_another_centre_epoch_begins_anew(service: Service) -> None:
    first = service.get("/sync/changes", "station").json
    with connected():
        database.execute_sql("UPDATE centre SET epoch = 'restored'")
    second = service.get("/sync/changes", "station", query_string={"cursor": first["cursor"]}).json
    assert second["centre_epoch"] == "restored" != first["centre_epoch"]
    assert second["changes"] == first["changes"]
    cursor = second["cursor"]
    assert service.get("/sync/changes", "station", query_string={"cursor": cursor}).json["changes"] == []


def test_a_reader_of_the_feed_never_skips_what_commits_late(service: Service) -> None:
    """Writers commit in any order and slowly; one reader goes on and on, and sees every record."""
    writers, each = 6, 8
    done = threading.Event()
    seen: set[str] = set()

    def write(number: int) -> None:
        with connected():
            for index in range(each):
                with database.atomic():
                    key = f"G-{number}-{index}"
                    records.write("material", key, {"grade": key}, site=None, by="test", now=NOW)
                    if index % 3 == number % 3:
                        done.wait(0.01)

    def read() -> None:
        position = 0
        with connected():
            while True:
                last = done.is_set()
                page = feed_of.changes(position, site="northgate", limit=3)
                seen.update(change.key for change in page.changes)
                position = page.position
                if last and not page.more:
                    return

    reader = threading.Thread(target=read)
    reader.start()
    threads = [threading.Thread(target=write, args=(number,)) for number in range(writers)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    done.set()
    reader.join()
    wanted = {f"G-{number}-{index}" for number in range(writers) for index in range(each)}
    assert wanted <= seen


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


def test_a_fault_of_ours_keeps_back_one_event_and_not_the_station(
    service: Service, station: Station, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = tally.add_all

    def broken(sums: Any) -> None:
        real(sums)
        if any(measures.get("strokes", 0) >= 13 for measures in sums.values()):
            raise ZeroDivisionError("secret inside")

    monkeypatch.setattr(tally, "add_all", broken)
    answer = service.push([station.cut(strokes=13), station.cut()])
    assert states(answer) == ["quarantined", "applied"]
    assert "secret" not in answer.text
    assert rows(service)[0]["strokes"] == 4
    monkeypatch.undo()
    number = service.get("/sync/quarantine").json["items"][0]["id"]
    assert service.post(f"/sync/quarantine/{number}/retry", {}).json["state"] == "applied"
    assert rows(service)[0]["strokes"] == 17


def test_offcuts_do_not_add_up_beyond_belief(service: Service, station: Station) -> None:
    offcut = {**piece(quantity=600_000), "ref": "OC-1"}
    events = [station.write("offcut.stored", offcut) for _ in range(2)]
    assert states(service.push(events)) == ["applied", "quarantined"]
    assert service.get("/stock/northgate/OC-1").json["quantity"] == 600_000


def test_a_damaged_push_is_named_field_by_field(service: Service, station: Station) -> None:
    event = station.cut()
    del event["seq"]
    event["hash"] = event_hash({}).upper()
    answer = service.push([event])
    assert answer.status_code == 422
    told = {error["pointer"]: error["message"] for error in answer.json["errors"]}
    assert told["/events/0/seq"] == "is missing"
    assert told["/events/0/hash"] == "64 hexadecimal digits are wanted"
    answer = service.push([station.cut()], sent_at="yesterday")
    assert answer.json["errors"][0]["pointer"] == "/sent_at"


@pytest.mark.parametrize("moment", ["0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-12:00"])
def test_an_absurd_time_is_quarantined(service: Service, station: Station, moment: str) -> None:
    assert states(service.push([station.cut(happened_at=moment), station.cut()])) == [
        "quarantined",
        "applied",
    ]


@pytest.mark.parametrize("name", ["planner", "station ng-1"])
def test_what_a_person_of_any_name_saved_is_not_taken_for_the_station_s_own(
    service: Service, station: Station, name: str
) -> None:
    with connected():
        secret = tokens.make(name, ["plan"], now=NOW)[1]
    service.push([station.write("program.saved", program(0))])
    kept = service.get("/programs/flange-a")
    changed = {**kept.json, "steps": [{"gauge_mm": 222}]}
    etag = kept.headers["ETag"]
    assert service.put("/programs/flange-a", changed, secret, headers={"If-Match": etag}).status_code == 200
    # The station has not seen that yet: both stay, side by side.
    service.push([station.write("program.saved", program(1, 305))])
    assert service.get("/programs/flange-a").json["steps"][0]["gauge_mm"] == 222
    assert len(service.get("/programs").json["items"]) == 2
