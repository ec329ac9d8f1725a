"""What changed on the disk after it was written is found out before it is sent or shown as sound."""

from __future__ import annotations

import pytest
from click.testing import CliRunner

from client.cache.outbox import Draft
from client.cache.plans import mark_done
from client.cli import cli
from client.errors import StoreFailed
from client.log.awaited import awaited
from client.log.step import log_step
from client.log.withdraw import log_withdrawn
from client.planning import plan_here
from client.profile import profile_notes
from client.sync import sync_once


def log(station, count):
    payload = {"machine": "bench-3m", "gauge_mm": 300.0, "measured_mm": 300.1}
    return [station.outbox.write([Draft("gauge.measured", payload)])[0] for _ in range(count)]


def change(station, row, old, new):
    """As a bad sector does: same length, and no one is told."""
    body = bytes(station.outbox.sql.value("SELECT body FROM event WHERE id = ?", row))
    assert len(old) == len(new)
    assert old in body
    station.outbox.sql.run("UPDATE event SET body = ? WHERE id = ?", body.replace(old, new), row)


CHANGES = [(b"300.1", b"900.1"), (b'"payload"', b'"pay\xffoad"')]


@pytest.mark.parametrize(("old", "new"), CHANGES)
def test_a_changed_entry_is_not_sent_and_those_before_it_are(service, connected, old, new):
    with connected(service) as station:
        sync_once(station)
        rows = [one.row for one in log(station, 3)]
        change(station, rows[1], old, new)
        with pytest.raises(StoreFailed, match=rf"entry {rows[1]} changed on the disk .*salvage"):
            sync_once(station)
        assert [one.state for one in station.outbox.by_rows(rows)] == ["taken", "pending", "pending"]


@pytest.mark.parametrize(("old", "new"), CHANGES)
def test_a_changed_entry_is_shown_as_damaged(stocked, old, new):
    rows = [one.row for one in log(stocked, 2)]
    change(stocked, rows[0], old, new)
    folder = str(stocked.home.folder)
    stocked.close()
    listed = CliRunner().invoke(cli, ["--home", folder, "log", "list"])
    assert listed.exit_code == 0
    assert "900.1" not in listed.output
    assert f"entry {rows[0]} changed on the disk" in listed.output
    assert listed.output.count("damaged") == 1
    status = CliRunner().invoke(cli, ["--home", folder, "status"])
    assert f"damaged          entry {rows[0]} changed on the disk" in status.output
    assert f"entry {rows[1]} changed" not in status.output


def test_every_entry_that_was_written_is_sound(stocked, order_document):
    kept = plan_here(stocked, order_document)
    for step in kept.plan.program:
        log_step(stocked, kept.id, step.number, operator="Ⅳ é")
    log_withdrawn(stocked, [1], "Größe war falsch")
    assert stocked.outbox.unsound() == []
    assert stocked.outbox.counts().pending > 3


@pytest.mark.parametrize("sign", [b"\xff", b"{"])
def test_a_damaged_plan_is_called_so_and_can_be_planned_again(stocked, order_document, sign):
    kept = plan_here(stocked, order_document)
    mark_done(stocked.outbox.sql, kept.id, kept.plan.program[0].number, 1)
    body = bytes(stocked.outbox.sql.value("SELECT body FROM plan WHERE id = ?", kept.id))
    place = body.index(b'"') + 1  # the first letter of a name
    damaged = body[:place] + sign + body[place + 1 :]
    stocked.outbox.sql.run("UPDATE plan SET body = ? WHERE id = ?", damaged, kept.id)
    told = f"the store is damaged: plan {kept.id} is not as it was kept any more; pull or plan again"
    with pytest.raises(StoreFailed, match=told):
        stocked.plan_document(kept.id)
    assert told in list(awaited(stocked))
    assert plan_here(stocked, order_document).id == kept.id
    assert stocked.plan_document(kept.id)["order_ref"] == "W-1042"


def test_a_plan_that_still_reads_but_changed_is_called_damaged(stocked, order_document):
    kept = plan_here(stocked, order_document)
    body = bytes(stocked.outbox.sql.value("SELECT body FROM plan WHERE id = ?", kept.id))
    assert body.count(b'"gauge_mm":300.0') > 0
    stocked.outbox.sql.run("UPDATE plan SET body = ?", body.replace(b'"gauge_mm":300.0', b'"gauge_mm":200.0'))
    with pytest.raises(StoreFailed, match="not as it was kept any more"):
        stocked.plan_document(kept.id)
    plan_here(stocked, order_document)
    assert stocked.plan_document(kept.id) == kept.document


def test_a_plan_of_an_earlier_version_is_held_against_its_id(stocked, order_document):
    kept = plan_here(stocked, order_document)
    stocked.outbox.sql.run("UPDATE plan SET sum = NULL")
    assert stocked.plan_document(kept.id) == kept.document
    body = bytes(stocked.outbox.sql.value("SELECT body FROM plan WHERE id = ?", kept.id))
    mark = f'"fingerprint":"{kept.id}'.encode()
    stocked.outbox.sql.run("UPDATE plan SET body = ?", body.replace(mark, mark[:-1] + b"x"))
    with pytest.raises(StoreFailed, match="not as it was kept any more"):
        stocked.plan_document(kept.id)


def test_a_damaged_plan_does_not_stop_the_next_one(stocked, order_document):
    old = plan_here(stocked, order_document)
    stocked.outbox.sql.run("UPDATE plan SET body = x'ff' WHERE id = ?", old.id)
    new = plan_here(stocked, {**order_document, "order_ref": "W-1043"})
    (note,) = profile_notes(stocked, new)
    assert f"plan {old.id} is not as it was kept" in note
