"""An order cut from named pieces of the rack only, as where an offcut is to be used up."""

from __future__ import annotations

from typing import Any

import pytest
from click.testing import CliRunner

from client.cli import cli
from client.errors import InputWrong, NotAllPlanned
from client.home import Home
from client.orders.picked_stock import with_stock
from client.planning import order_here, plan_here
from client.workstation import Workstation
from tests.client.conftest import CENTRE_EPOCH, MACHINE, SITE, STOCK, change

OFFCUT: dict[str, Any] = {
    **STOCK,
    "ref": "OC-7",
    "length": 1240,
    "width": 640.5,
    "quantity": 1,
    "kind": "offcut",
    "heat": "H99",
}


@pytest.fixture
def rack(station: Workstation) -> Workstation:
    """A workstation with eight sheets and an offcut on its rack."""
    station.records.take_page(
        [
            change("site", "northgate", SITE),
            change("machine", "bench-3m", MACHINE),
            change("stock", "northgate/SH-A", STOCK),
            change("stock", "northgate/OC-7", OFFCUT),
        ],
        cursor="c1",
        centre_epoch=CENTRE_EPOCH,
        last=True,
        server_time="2026-11-25T12:00:00+00:00",
        settled_to=0,
    )
    return station


def test_the_order_has_the_pieces_named_just_as_they_lie_on_the_rack(
    rack: Workstation, order_document: dict[str, Any]
) -> None:
    whole = order_here(rack, order_document)
    picked = order_here(rack, with_stock(rack, order_document, ["OC-7"]))
    assert [item.ref for item in whole.stock] == ["OC-7", "SH-A"]
    assert picked.stock == whole.stock[:1]
    assert order_here(rack, with_stock(rack, order_document, ["SH-A", "OC-7", "SH-A"])) == whole


def test_a_rack_stays_in_millimetres_where_the_order_is_in_inches(
    rack: Workstation, order_document: dict[str, Any]
) -> None:
    inches = {
        **order_document,
        "units": "in",
        "parts": [{**order_document["parts"][0], "length": 20, "width": 10, "thickness": "3 mm"}],
    }
    picked = order_here(rack, with_stock(rack, inches, ["OC-7"]))
    assert picked.stock == order_here(rack, inches).stock[:1]


def test_an_offcut_is_used_up_and_what_finds_no_place_is_told(
    rack: Workstation, order_document: dict[str, Any]
) -> None:
    """Two of 600 × 300 side by side, twice, lie in 1240 × 640.5; of 16 and 7 the rest is left over."""
    kept = plan_here(rack, with_stock(rack, order_document, ["OC-7"]))
    assert [layout.stock_ref for layout in kept.plan.layouts] == ["OC-7"]
    assert sum(one.quantity for one in kept.plan.unplaced) < 23
    assert {one.code for one in kept.plan.unplaced} == {"stock-exhausted"}


def test_of_stock_that_the_order_names_itself_some_may_be_picked(
    rack: Workstation, order_document: dict[str, Any]
) -> None:
    own = [{**OFFCUT, "ref": ref} for ref in ("A", "B")]
    for one in own:
        del one["site"]
    document = {**order_document, "stock": own}
    assert with_stock(rack, document, ["B"])["stock"] == own[1:]
    with pytest.raises(InputWrong, match="OC-7 is not in the stock of the order"):
        with_stock(rack, document, ["OC-7"])


def test_a_piece_that_is_not_there_is_named(
    rack: Workstation, order_document: dict[str, Any], tmp_path: Any, home: Home
) -> None:
    with pytest.raises(InputWrong, match="OC-8, OC-9 are not on the rack of the site of bench-3m"):
        with_stock(rack, order_document, ["OC-8", "SH-A", "OC-9"])
    with pytest.raises(InputWrong, match="given by its id"):
        with_stock(rack, {**order_document, "machine": MACHINE}, ["OC-7"])
    rack.close()
    path = tmp_path / "W-1.csv"
    path.write_text("ref,length,width,quantity,material,thickness\nP1,600,300,8,S235JR,3\n")
    words = ["--home", str(home.folder), "plan", str(path), "--effort", "quick", "--stock"]
    assert "OC-8 is not on the rack" in CliRunner().invoke(cli, [*words, "OC-8"]).output
    done = CliRunner().invoke(cli, [*words, "OC-7"])
    assert done.exit_code == NotAllPlanned.exit_code
    assert "take 1 × OC-7" in done.output
