"""Rows that PostgreSQL takes in beside us: none is lost, and an error leaves the connection fit for use."""

from __future__ import annotations

from typing import Any

import pytest
from peewee import IntegrityError

from service.store import audits, bulk, effects, events
from service.store.database import ask, connected, copying_beside, database, open_database
from service.store.migrate import migrate
from service.store.models import Departure, Event
from tests.service.shop import NOW, Service, Station, cuts_made, states

NAMES = ("id", "kind", "key", "site", "revision", "position", "moved_at")


def send(*ids: int) -> None:
    """Insert a row of some table for each id."""
    rows = [(one, "stock", f"northgate/{one}", "northgate", 1, one, NOW) for one in ids]
    bulk.insert_columns(Departure, NAMES, zip(*rows, strict=True))


def kept() -> list[int]:
    return [one for (one,) in ask("SELECT id FROM departure ORDER BY id")]


@pytest.fixture
def empty(address: str) -> None:
    """An empty database."""
    open_database(address)
    migrate()


@pytest.mark.usefixtures("empty")
def test_a_question_in_between_finds_what_was_sent_before_it() -> None:
    with connected(), database.atomic():
        with copying_beside():
            send(1, 2)
            send(3)
            assert kept() == [1, 2, 3]
            send(4)
        assert kept() == [1, 2, 3, 4]


@pytest.mark.usefixtures("empty")
@pytest.mark.parametrize("ids", [(2,), (2, 1)], ids=["good", "one of them there already"])
def test_after_an_error_the_rows_are_taken_back_and_the_connection_works_on(ids: tuple[int, ...]) -> None:
    def broken_off() -> None:
        with database.atomic(), copying_beside():
            send(*ids)
            raise ZeroDivisionError

    with connected(), database.atomic():
        send(1)
        with pytest.raises((ZeroDivisionError, IntegrityError)):
            broken_off()
        assert kept() == [1]
        send(3)
    with connected():
        assert kept() == [1, 3]


@pytest.mark.usefixtures("empty")
@pytest.mark.parametrize("asked", [True, False])
def test_a_row_that_cannot_be_kept_is_told_at_the_next_statement_or_at_the_end(asked: bool) -> None:
    went_through = []

    def sent_twice() -> None:
        with database.atomic(), copying_beside():
            send(2, 1)
            if asked:
                went_through.append(kept())

    with connected(), database.atomic():
        send(1)
        with pytest.raises(IntegrityError):
            sent_twice()
        assert went_through == []
        assert kept() == [1]


@pytest.fixture
def in_twos(monkeypatch: pytest.MonkeyPatch) -> None:
    """Events of a push are sent to the database by twos."""
    monkeypatch.setattr(events, "_SENT_TOGETHER", 2)


@pytest.mark.usefixtures("in_twos")
def test_what_looks_into_the_store_in_the_midst_of_a_push_finds_the_events_before_it(
    service: Service, station: Station
) -> None:
    cut, more, other = station.cut(), station.cut(strokes=5), station.cut(machine="not-here")
    on_plan = station.write("cuts.made", cuts_made(plan_id="0" * 16, step=1, pieces=4, step_pieces=8))
    taken_back = station.write("log.withdrawn", {"event_id": more["event_id"], "reason": "counted twice"})
    last = [station.cut() for _ in range(3)]
    answer = service.push([cut, more, other, on_plan, taken_back, *last, cut])
    assert states(answer) == ["applied", "applied", "quarantined", *["applied"] * 5, "repeat"]
    with connected():
        stored = [(row.seq, row.state) for row in Event.select().order_by(Event.id)]
        assert audits.audit() == []
    assert stored == [
        (1, "applied"),
        (2, "quarantined"),
        (3, "quarantined"),
        *((seq, "applied") for seq in range(4, 9)),
    ]


@pytest.mark.usefixtures("in_twos")
def test_a_fork_after_events_that_were_sent_leaves_nothing_of_them(
    service: Service, station: Station
) -> None:
    good = [station.cut() for _ in range(5)]
    bad = station.cut(event_id=good[0]["event_id"])
    answer = service.push([*good, {**bad, "prev_hash": "0" * 64}])
    assert answer.status_code == 409, answer.text
    with connected():
        assert Event.select().count() == 0
        assert audits.audit() == []
    assert states(service.push(good)) == ["applied"] * 5


@pytest.mark.usefixtures("in_twos")
def test_a_fault_after_events_that_were_sent_keeps_back_that_event_alone(
    service: Service, station: Station, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = effects.apply

    def broken(event: Any, books: Any) -> Any:
        if event.payload["strokes"] == 13:
            raise ZeroDivisionError
        return real(event, books)

    monkeypatch.setattr(effects, "apply", broken)
    sent = [station.cut(strokes=13 if number == 3 else 4) for number in range(6)]
    assert states(service.push(sent)) == [*["applied"] * 3, "quarantined", *["applied"] * 2]
    with connected():
        assert Event.select().count() == 6
        assert audits.audit() == []
