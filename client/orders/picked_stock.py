"""An order that is to be cut from some pieces of stock only, such as an offcut that is to be used up."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

from client.errors import InputWrong
from schemas.records import StockSchema
from service.engine.order import StockItem
from service.engine.quantities import show_mm

if TYPE_CHECKING:
    from client.workstation import Workstation

_LENGTHS: Final = ("length", "width", "thickness", "oversize")


def with_stock(station: Workstation, document: Mapping[str, Any], refs: Sequence[str]) -> dict[str, Any]:
    """The plan request with these pieces as its stock.

    Parameters
    ----------
    station
        Its rack is that of the site of the machine.
    document
        A plan request; where it names stock of its own, the pieces are taken from that.
    refs
        What the pieces are called.

    Raises
    ------
    InputWrong
        When a piece is not there, or the machine is not one by whose site the rack is known.
    """
    own = document.get("stock")
    if isinstance(own, list):
        there = {str(one.get("ref")): one for one in own if isinstance(one, Mapping)}
        where = "in the stock of the order"
    else:
        name = document.get("machine")
        if not isinstance(name, str):
            raise InputWrong("--stock names pieces of the rack of a machine that is given by its id")
        there = {item.ref: _on_the_wire(item) for item in station.rack_of(station.machine(name))}
        where = f"on the rack of the site of {name}; shearwright stock lists it"
    missing = [ref for ref in refs if ref not in there]
    if missing:
        raise InputWrong(f"--stock: {', '.join(missing)} {'is' if len(missing) == 1 else 'are'} not {where}")
    return {**document, "stock": [there[ref] for ref in sorted(set(refs))]}


def _on_the_wire(item: StockItem) -> dict[str, Any]:
    """As a request has it; lengths with their unit, as bare numbers may be inches there."""
    made: dict[str, Any] = StockSchema().dump(item)
    return {**made, **{name: f"{show_mm(getattr(item, name))} mm" for name in _LENGTHS}}
