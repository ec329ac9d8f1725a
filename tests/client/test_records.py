import pytest

from client.cache.records import Records
from client.errors import StoreFailed

EPOCH = "11111111-1111-4111-8111-111111111111"


def take(records, changes, cursor="c1", last=True, settled_to=0):
    return records.take_page(
        changes,
        cursor=cursor,
        centre_epoch=EPOCH,
        last=last,
        server_time="2026-03-02T07:15:00Z",
        settled_to=settled_to,
    )


@pytest.fixture
def cache(home):
    made = Records(home)
    yield made
    made.close()


def test_a_changed_machine_is_told_with_the_fields_that_changed(cache, machine_record, changed):
    assert [c.what for c in take(cache, [changed("machine", "bench-3m", machine_record)])] == ["new"]
    after = {**machine_record, "cutting_length_mm": 2500, "back_gauge": {"low_mm": 5, "high_mm": 750}}
    told = take(cache, [changed("machine", "bench-3m", after, 2)])
    assert told[0].what == "changed"
    assert told[0].fields == (
        "cutting length 3000 → 2500 mm",
        "back gauge high 1000 → 750 mm",
        "back gauge accuracy 0.1 mm → none",
    )
    assert cache.machine("bench-3m").back_gauge.high == 75_000


def test_the_same_record_again_is_no_change(cache, machine_record, changed):
    take(cache, [changed("machine", "bench-3m", machine_record)])
    assert take(cache, [changed("machine", "bench-3m", machine_record, 2)]) == []


def test_a_record_that_is_gone_goes(cache, machine_record, changed):
    take(cache, [changed("machine", "bench-3m", machine_record)])
    assert take(cache, [changed("machine", "bench-3m", None)])[0].what == "gone"
    assert cache.machines() == []
    assert take(cache, [changed("machine", "never-seen", None)]) == []


def test_a_page_and_its_cursor_come_in_together_or_not_at_all(cache, machine_record, changed):
    take(cache, [changed("machine", "bench-3m", machine_record)], cursor="c1")
    broken = [changed("machine", "second", machine_record), {"kind": "machine"}]
    with pytest.raises(KeyError):
        take(cache, broken, cursor="c2")
    assert cache.position.cursor == "c1"
    assert cache.record("machine", "second") is None


def test_records_stay_in_use_until_a_resync_is_whole_and_then_what_was_not_sent_goes(
    cache, machine_record, changed
):
    take(cache, [changed("machine", "a", machine_record), changed("machine", "b", machine_record)])
    cache.begin_resync()
    assert cache.position.cursor is None
    take(cache, [changed("machine", "b", machine_record)], cursor="n1", last=False)
    assert {one for one, _ in cache.records("machine")} == {"a", "b"}
    told = take(cache, [changed("machine", "c", machine_record)], cursor="n2")
    assert {one for one, _ in cache.records("machine")} == {"b", "c"}
    assert ("a", "gone") in {(c.id, c.what) for c in told}


def test_a_record_that_is_not_understood_is_kept_and_named_when_it_is_used(cache, changed):
    take(cache, [changed("machine", "odd", {"id": "odd"})])
    with pytest.raises(StoreFailed, match="machine odd from the centre is not understood"):
        cache.machines()
    assert cache.record("machine", "odd") == {"id": "odd"}


def test_what_a_newer_centre_adds_to_a_record_is_passed_over(cache, machine_record, changed):
    take(cache, [changed("machine", "bench-3m", {**machine_record, "colour": "green"})])
    assert cache.machine("bench-3m").name == "Bench shear, 3 m"
