"""What the service does by itself, by a clock that the test sets; on both databases."""

from __future__ import annotations

import threading
from datetime import timedelta
from typing import Any

import pytest

from schemas import events as contract
from schemas.payloads import CutsMadeSchema
from service.store import again, effects, records, tally
from service.store.ages import Ages
from service.store.database import connected, database
from service.store.models import Event, Job, Lease, Record
from service.tasks import jobs as jobs_of
from service.tasks.schedule import LEASE, Schedule, standing
from tests.service.shop import NOW, Service, Station, cuts_made


@pytest.fixture
def schedule(service: Service) -> Schedule:
    return Schedule(Ages(), service.clock)


def told(service: Service) -> dict[str, Any]:
    answer = service.get("/schedule", "report")
    assert answer.status_code == 200, answer.text
    return {job["name"]: job for job in answer.json["jobs"]}


def test_each_job_runs_once_in_its_time_however_often_it_is_looked_at(
    service: Service, schedule: Schedule
) -> None:
    assert told(service)["audit"]["started_at"] is None
    assert schedule.look() == ["reapply", "audit", "makers", "retention"]
    assert schedule.look() == []
    assert told(service)["audit"]["outcome"] == "done"
    service.clock.now += timedelta(hours=23, minutes=59)
    assert schedule.look() == []
    service.clock.now += timedelta(minutes=1)
    assert schedule.look() == ["reapply", "audit", "makers", "retention"]


def test_a_restart_neither_skips_nor_repeats(service: Service, schedule: Schedule) -> None:
    schedule.look()
    service.clock.now += LEASE
    assert Schedule(Ages(), service.clock).look() == []
    service.clock.now += timedelta(days=3)
    assert len(Schedule(Ages(), service.clock).look()) == 4


def test_exactly_one_of_many_processes_runs_a_job(service: Service) -> None:
    run: list[list[str]] = []
    several = [Schedule(Ages(), service.clock) for _ in range(5)]
    threads = [threading.Thread(target=lambda one=one: run.append(one.look())) for one in several]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(name for names in run for name in names) == ["audit", "makers", "reapply", "retention"]
    assert sum(bool(names) for names in run) == 1


def test_another_process_takes_over_when_the_first_is_silent(service: Service) -> None:
    first, second = Schedule(Ages(), service.clock), Schedule(Ages(), service.clock)
    first.look()
    with connected():
        Job.update(started_at=NOW - timedelta(days=2)).execute()
    assert second.look() == []
    service.clock.now += LEASE
    assert len(second.look()) == 4
    with connected():
        assert Lease.get().holder == second.holder
    second.stop()
    with connected():
        assert list(Lease.select()) == []


def test_the_audit_says_what_differs_and_readiness_points_to_it(
    service: Service, schedule: Schedule, station: Station
) -> None:
    service.push([station.cut()])
    with connected():
        database.execute_sql("UPDATE tally SET parts = parts + 1")
    schedule.look()
    audit = told(service)["audit"]
    assert audit["outcome"] == "attention"
    assert "northgate/bench-3m/S235JR/300//2026-03-02 parts: kept 5, counted 4" in audit["words"]
    ready = service.get("/health/ready", None).json
    assert (ready["jobs_to_look_at"], ready["jobs_overdue"]) == (["audit"], [])
    service.clock.now += timedelta(days=3)
    assert "audit" in service.get("/health/ready", None).json["jobs_overdue"]


def test_a_job_that_fails_says_so_and_is_tried_again_within_the_hour(
    service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: Any) -> Any:
        raise ZeroDivisionError("secret inside")

    job = jobs_of.Job("audit", timedelta(days=1), broken, "breaks")
    schedule = Schedule(Ages(), service.clock, [job])
    assert schedule.look() == ["audit"]
    stands = told(service)["audit"]
    assert stands["outcome"] == "failed"
    assert "secret" not in stands["words"]
    service.clock.now += timedelta(minutes=59)
    assert schedule.look() == []
    service.clock.now += timedelta(minutes=1)
    assert schedule.look() == ["audit"]


def test_a_run_that_was_cut_off_is_begun_again(service: Service, schedule: Schedule) -> None:
    with connected():
        Job.insert(name="audit", started_at=NOW).execute()
    assert "audit" not in schedule.look()
    service.clock.now += timedelta(hours=6)
    assert schedule.look() == ["audit"]


def test_the_timer_really_looks(service: Service) -> None:
    schedule = Schedule(Ages(), service.clock)
    schedule.start()
    try:
        for _ in range(200):
            with connected():
                if all(job.ended_at for job in standing(service.clock.now)):
                    break
            threading.Event().wait(0.05)
        assert {job["outcome"] for job in told(service).values()} == {"done"}
    finally:
        schedule.stop()


def test_retention_lets_go_of_what_has_its_age_and_never_of_an_event(
    service: Service, schedule: Schedule, station: Station
) -> None:
    service.push([station.cut()])
    cursor = service.get("/sync/changes", "station").json["cursor"]
    service.ask("DELETE", "/stock/northgate/SH-A", headers={"If-Match": '"1"'})
    service.post("/machines", {**service.get("/machines/bench-3m").json, "id": "m-2"},
                 headers={"Idempotency-Key": "k"})  # fmt: skip
    service.clock.now += timedelta(days=181)
    schedule.look()
    with connected():
        assert records.find("stock", "northgate/SH-A", deleted_too=True) is None
        assert database.execute_sql("SELECT count(*) FROM kept_answer").fetchone() == (0,)
        assert Event.select().count() == 1
    assert "1 deletions forgotten" in told(service)["retention"]["words"]
    answer = service.get("/sync/changes", "station", query_string={"cursor": cursor})
    assert answer.status_code == 410
    assert answer.json["type"] == "/problems/cursor-gone"
    whole = service.get("/sync/changes", "station").json
    assert ("stock", "northgate/SH-A") not in {(one["kind"], one["id"]) for one in whole["changes"]}
    after = service.get("/sync/changes", "station", query_string={"cursor": whole["cursor"]})
    assert (after.status_code, after.json["changes"]) == (200, [])


def test_old_plans_go_only_when_an_age_is_set(service: Service) -> None:
    with connected():
        for name, days in (("old", 100), ("young", 10)):
            records.write("plan", name, {}, site=None, by="test", now=NOW - timedelta(days=days))
    Schedule(Ages(), service.clock).look()
    with connected():
        assert records.find("plan", "old") is not None
    service.clock.now += timedelta(days=1)
    Schedule(Ages(plans=90), service.clock).look()
    with connected():
        gone = {row.key: row.deleted for row in Record.select().where(Record.kind == "plan")}
    assert gone == {"old": True, "young": False}


@pytest.fixture
def coolant(monkeypatch: pytest.MonkeyPatch) -> None:
    """A version that knows the type coolant.changed, which is applied as cuts are."""
    monkeypatch.setitem(contract.PAYLOADS, "coolant.changed", CutsMadeSchema)
    monkeypatch.setitem(effects._EFFECTS, "coolant.changed", effects._EFFECTS["cuts.made"])
    real = tally.added_by
    monkeypatch.setattr(
        tally,
        "added_by",
        lambda kind, *more: real("cuts.made" if kind == "coolant.changed" else kind, *more),
    )


def test_what_was_kept_is_applied_by_the_version_that_understands_it(
    service: Service, station: Station, request: pytest.FixtureRequest
) -> None:
    service.push(
        [
            station.write("coolant.changed", cuts_made()),
            station.write("coolant.changed", {"litres": 4}),
            station.write("lights.out", {}),
        ]
    )
    with connected():
        assert again.reapply(NOW) == again.Reapplied(0, 0, 0)
    request.getfixturevalue("coolant")
    with connected():
        assert again.reapply(NOW) == again.Reapplied(1, 0, 1)
        assert [row.state for row in Event.select().order_by(Event.id)] == ["applied", "quarantined", "kept"]
        assert again.reapply(NOW) == again.Reapplied(0, 0, 0)
        assert tally.differences(tally.recount()) == []
    assert service.get("/reports/throughput").json["rows"][0]["parts"] == 4


def test_the_ages_are_read_from_the_environment_and_nonsense_is_told() -> None:
    assert Ages.from_environment({"SHEARWRIGHT_DAYS_PLANS": "400"}) == Ages(plans=400)
    with pytest.raises(ValueError, match="SHEARWRIGHT_DAYS_DELETIONS: a whole number of days from 1"):
        Ages.from_environment({"SHEARWRIGHT_DAYS_DELETIONS": "0"})
