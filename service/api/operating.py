"""Whether the service lives and is ready, and what it can do."""

from __future__ import annotations

from html import escape
from typing import Any

from flask import current_app
from peewee import PeeweeException

from schemas.answers import LiveSchema, ReadySchema, ScheduleSchema
from service.api.operations import Answer, Given, Operation, Operations
from service.api.problems import ProblemError
from service.engine import ENGINE_VERSION
from service.store import records
from service.store.database import connected, is_postgresql
from service.tasks.schedule import standing

operating = Operations("operating")


@operating("GET", "/health/live", scopes=(), summary="Whether the process answers", answers={200: LiveSchema})
def live(given: Given) -> Answer:
    """The process answers."""
    return Answer({"live": True})


@operating(
    "GET",
    "/health/ready",
    scopes=(),
    summary="Whether the database answers",
    answers={200: ReadySchema},
)
def ready(given: Given) -> Answer:
    """The database answers."""
    try:
        with connected():
            records.centre_epoch()
            jobs = standing(given.now)
    except PeeweeException:
        raise ProblemError(
            503, "Not ready", "the database does not answer", headers={"Retry-After": "5"}
        ) from None
    kind = "postgresql" if is_postgresql() else "sqlite"
    return Answer(
        {
            "ready": True,
            "database": kind,
            "engine_version": ENGINE_VERSION,
            "jobs_overdue": [job.name for job in jobs if job.overdue],
            "jobs_to_look_at": [job.name for job in jobs if job.outcome in {"attention", "failed"}],
        }
    )


@operating(
    "GET",
    "/schedule",
    scopes=("report",),
    summary="What the service does by itself: when it was last done, what came of it, when it is due",
    answers={200: ScheduleSchema},
)
def schedule(given: Given) -> Answer:
    """How every job stands."""
    document: dict[str, Any] = ScheduleSchema().dump({"jobs": standing(given.now)})
    return Answer(document)


@operating(
    "GET",
    "/openapi.json",
    scopes=(),
    summary="This contract, as OpenAPI 3.1",
    answers={200: "application/json"},
)
def contract(given: Given) -> Answer:
    """The OpenAPI document."""
    document: Any = current_app.config["OPENAPI"]()
    return Answer(document)


@operating("GET", "/docs", scopes=(), summary="The operations, as a page to read", answers={200: "text/html"})
def docs(given: Given) -> Answer:
    """A page that lists the operations."""
    operations: list[Operation] = current_app.config["OPERATIONS"]
    sections: dict[str, list[str]] = {}
    for operation in operations:
        scopes = ", ".join(operation.scopes) or "open to all"
        sections.setdefault(operation.tag, []).append(
            f"<tr><td>{operation.method}</td><td><code>/v1{escape(shown_path(operation.path))}</code></td>"
            f"<td>{escape(operation.summary)}</td><td>{escape(scopes)}</td></tr>"
        )
    tables = "".join(
        f"<h2>{escape(tag)}</h2><table><tr><th>method</th><th>address</th><th>what it does</th>"
        f"<th>scope</th></tr>{''.join(rows)}</table>"
        for tag, rows in sections.items()
    )
    page = (
        '<!doctype html><html lang="en-GB"><meta charset="utf-8"><title>Shearwright, contract v1</title>'
        "<style>body{font:16px/1.5 system-ui,sans-serif;margin:2rem auto;max-width:70rem;padding:0 1rem}"
        "table{border-collapse:collapse;width:100%}td,th{text-align:left;padding:.3rem .8rem .3rem 0;"
        "border-bottom:1px solid #ccc;vertical-align:top}</style>"
        "<h1>Shearwright, contract version 1</h1>"
        '<p>Every field is described, with its unit, in <a href="openapi.json">openapi.json</a>; so is the '
        "payload of each type of event. Send a token as "
        "<code>Authorization: Bearer …</code>. Errors are <code>application/problem+json</code> and name "
        f"each field.</p>{tables}</html>"
    )
    return Answer(page, media="text/html")


def shown_path(path: str) -> str:
    """A path as OpenAPI writes it."""
    return path.replace("<path:", "{").replace("<", "{").replace(">", "}")
