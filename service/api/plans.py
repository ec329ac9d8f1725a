"""Plans: made, kept under the fingerprint of what they answer, and shown."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from flask import current_app

from schemas.answers import PageQuerySchema, PlanEntrySchema, page_of
from schemas.fields import Document, JsonInt, between
from schemas.orders import OrderSchema, read_order
from schemas.plans import PlanDocumentSchema, read_plan, write_plan
from schemas.shop import stock_item
from schemas.words import says
from service.api.operations import Answer, Given, Operations
from service.api.paging import begins_after, page
from service.api.parsed import machine_named, own_materials
from service.api.problems import ProblemError, field_problem, not_found
from service.drawing.svg import layout_svg
from service.drawing.table import csv_text
from service.drawing.text import ROW_HEAD, program_rows, program_text
from service.engine.fingerprint import fingerprint
from service.engine.machine import Machine
from service.engine.order import Order, StockItem
from service.engine.plan import CutPlan
from service.engine.planner import no_such_plan, picked
from service.engine.planner import plans as plans_of
from service.store import records

plans = Operations("plans")


@says(
    layout="number of the layout to draw, from 1",
)
class DrawingQuerySchema(Document):
    """Which layout to draw."""

    layout = JsonInt(load_default=1, validate=between(1, 1_000_000))


def stock_at(machine: Machine) -> Iterable[StockItem]:
    """The stock of a machine's site, what is left of it."""
    if machine.site is None:
        return ()
    items = (stock_item(document) for document in records.all_of("stock", machine.site))
    return (item for item in items if item.quantity > 0)


@plans(
    "POST",
    "/plans",
    scopes=("plan",),
    summary="Plan an order. The same order again gives the same plan, with 200. "
    "A comparison answers with the recommended plan, names the others, and keeps them all",
    body=OrderSchema,
    read_body=False,
    answers={200: PlanDocumentSchema, 201: PlanDocumentSchema},
    slow=True,
)
def make_plan(given: Given) -> Answer:
    """Plan an order, or answer with the plan that was made of it before.

    A comparison keeps all its plans, each under its own id.
    """
    order = read_order(
        given.document, machine_named=machine_named, own_materials=own_materials(), stock_at=stock_at
    )
    most = current_app.config["MOST_ORDER_LINES"]
    if len(order.parts) + len(order.stock) > most:
        raise field_problem(
            "/parts", f"at most {most} lines of parts and stock together are planned in one request"
        )
    mark = fingerprint(order)
    key = mark[:16]
    before = records.find("plan", key)
    if before is None or not _all_there(before.document):
        made = plans_of(order)
        if order.options.pick >= len(made):
            raise field_problem("/options/pick", no_such_plan(order.options.pick, len(made)))
        # The recommended plan comes last, so that the plans that it names are there once it is.
        fresh: set[str] = set()
        for pick, one in reversed(list(enumerate(made))):
            answered = picked(order, pick)
            fresh |= _keep(write_plan(one, answered, one.fingerprint[:16]), answered, given)
        before = records.find("plan", key)
        if key in fresh and before is not None:
            return Answer(before.document, 201, _headers(key))
    if before is None or before.document["fingerprint"] != mark:
        raise ProblemError(409, "Two orders, one id", f"the id {key} belongs to the plan of another order")
    return Answer(before.document, 200, _headers(key))


def _all_there(document: dict[str, Any]) -> bool:
    """Whether the other plans of a comparison are kept as well; one may have been deleted."""
    return all(records.find("plan", one["id"]) is not None for one in document.get("alternatives", ()))


def _keep(document: dict[str, Any], order: Order, given: Given) -> set[str]:
    """Keep a plan; its id when it was not there before."""
    try:
        records.write(
            "plan",
            document["id"],
            document,
            site=order.machine.site,
            by=given.caller.name,
            now=given.now,
            expected=0,
        )
    except records.StaleRevision:
        return set()
    return {document["id"]}


def _headers(key: str) -> dict[str, str]:
    return {"Location": f"/v1/plans/{key}", "ETag": f'"{key}"'}


@plans(
    "GET",
    "/plans",
    scopes=("plan", "report"),
    summary="List plans, in the order of their ids",
    query=PageQuerySchema,
    answers={200: page_of(PlanEntrySchema)},
)
def list_plans(given: Given) -> Answer:
    """List plans."""
    limit = given.query["limit"]
    found = records.listed("plan", after=begins_after(given.query, str), limit=limit + 1)
    return Answer(page(found, limit, _entry, lambda kept: kept.key))


def _entry(kept: records.Kept) -> dict[str, Any]:
    return {name: kept.document[name] for name in ("id", "order_ref", "machine_id", "summary")}


@plans(
    "GET",
    "/plans/<key>",
    scopes=("plan", "report"),
    summary="Read a plan",
    answers={200: PlanDocumentSchema},
)
def read_one_plan(given: Given, key: str) -> Answer:
    """Read a plan."""
    return Answer(_kept(key), 200, {"ETag": f'"{key}"'})


@plans(
    "DELETE",
    "/plans/<key>",
    scopes=("plan",),
    summary="Delete a plan; posting its order again makes it again",
    answers={204: None},
)
def delete_plan(given: Given, key: str) -> Answer:
    """Delete a plan."""
    _kept(key)
    records.remove("plan", key, by=given.caller.name, now=given.now)
    return Answer(status=204)


@plans(
    "GET",
    "/plans/<key>/drawing.svg",
    scopes=("plan", "report"),
    summary="Draw a layout of a plan",
    query=DrawingQuerySchema,
    answers={200: "image/svg+xml"},
)
def draw_plan(given: Given, key: str) -> Answer:
    """Draw a layout."""
    made, order = _read(key)
    number = given.query["layout"]
    if number > len(made.layouts):
        raise not_found(f"the plan has {len(made.layouts)} layouts, and no layout {number}")
    return Answer(layout_svg(made, order, number), media="image/svg+xml")


@plans(
    "GET",
    "/plans/<key>/program.txt",
    scopes=("plan", "report"),
    summary="The cut program as text",
    answers={200: "text/plain"},
)
def program_as_text(given: Given, key: str) -> Answer:
    """Show the program as text."""
    made, order = _read(key)
    return Answer(program_text(made, order), media="text/plain")


@plans(
    "GET",
    "/plans/<key>/program.csv",
    scopes=("plan", "report"),
    summary="The cut program as a table",
    answers={200: "text/csv"},
)
def program_as_csv(given: Given, key: str) -> Answer:
    """Show the program as a table."""
    made, _ = _read(key)
    return Answer(csv_text([ROW_HEAD, *program_rows(made)]), media="text/csv")


def _kept(key: str) -> dict[str, Any]:
    kept = records.find("plan", key)
    if kept is None:
        raise not_found(f"there is no plan {key!r}")
    return kept.document


def _read(key: str) -> tuple[CutPlan, Order]:
    return read_plan(_kept(key))
