"""An offcut that is planned from again is what it is, and not a piece cut to size all round."""

from client.log.step import log_step
from client.planning import plan_here
from service.engine.quantities import show_mm


def test_what_is_left_of_a_sheet_is_never_handed_out_again_uncut_as_a_part_of_that_size(
    stocked, order_document
):
    first = plan_here(stocked, order_document)
    for step in first.plan.program:
        log_step(stocked, first.id, step.number)
    left = [item for item in stocked.rack() if item.kind == "offcut"]
    assert left, "this order leaves an offcut"
    for item in left:
        assert item.edges == "mill"
        assert item.oversize >= 2000
        (told,) = [
            one.event["payload"]
            for one in stocked.outbox.all_events()
            if one.type == "offcut.stored" and one.event["payload"]["ref"] == item.ref
        ]
        assert (told["edges"], told["oversize_mm"]) == ("mill", item.oversize / 100)
    item = left[0]
    part = {**order_document["parts"][0], "length": show_mm(item.length), "width": show_mm(item.width)}
    again = plan_here(
        stocked,
        {
            **order_document,
            "parts": [{**part, "quantity": 1}],
            "stock": [
                {
                    "ref": item.ref,
                    "length": show_mm(item.length),
                    "width": show_mm(item.width),
                    "quantity": 1,
                    "material": item.material,
                    "thickness": show_mm(item.thickness),
                    "kind": "offcut",
                    "edges": item.edges,
                    "oversize": show_mm(item.oversize),
                }
            ],
        },
    )
    assert [one.quantity for one in again.plan.unplaced] == [1]
