from client.planning import plan_here
from client.profile import profile_notes


def test_a_changed_profile_is_told_with_the_next_plan_and_not_again(
    stocked, order_document, machine_record, changed
):
    first = plan_here(stocked, order_document)
    assert profile_notes(stocked, first) == []
    after = {**machine_record, "cutting_length_mm": 2600}
    stocked.records.take_page(
        [changed("machine", "bench-3m", after, 2)],
        cursor="c2",
        centre_epoch=stocked.records.position.centre_epoch,
        last=True,
        server_time="2026-03-02T07:15:00Z",
        settled_to=0,
    )
    second = plan_here(stocked, {**order_document, "order_ref": "W-2"})
    (told,) = profile_notes(stocked, second)
    assert told == f"bench-3m changed since the last plan here ({first.id}): cutting length 3000 → 2600 mm"
    third = plan_here(stocked, {**order_document, "order_ref": "W-3"})
    assert profile_notes(stocked, third) == []
