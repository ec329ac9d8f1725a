"""Reports over HTTP, as JSON or CSV."""

from __future__ import annotations

from datetime import date
from typing import Any

from flask import request

from schemas.answers import DIMENSIONS, ReportQuerySchema, ReportSchema
from service.api.operations import Answer, Given, Operations
from service.api.problems import field_problem, not_found
from service.drawing.table import csv_text
from service.store import held
from service.store.reports import REPORTS, known_place, report

reports = Operations("reports")


@reports(
    "GET",
    "/reports/<name>",
    scopes=("report",),
    summary=f"A report: {', '.join(REPORTS)}; JSON, or CSV by Accept or format=csv",
    query=ReportQuerySchema,
    answers={200: ReportSchema},
)
def read_report(given: Given, name: str) -> Answer:
    """Make a report."""
    if name not in REPORTS:
        raise not_found(f"there is no report {name!r}; there are {', '.join(REPORTS)}")
    query = given.query
    by = _dimensions(query["by"], name)
    from_day, to_day = _day(query, "from_day", "from"), _day(query, "to_day", "to")
    if from_day is not None and to_day is not None and from_day > to_day:
        raise field_problem("/query/from", "is after to")
    only = {column: query[column] for column in ("site", "machine", "material") if query[column] is not None}
    for column in ("site", "machine"):
        if column in only and not known_place(column, only[column]):
            raise field_problem(f"/query/{column}", f"no {column} is known by the id {only[column]!r}")
    rows = report(name, by, from_day=from_day, to_day=to_day, only=only)
    if _as_csv(query["format"]):
        names = list(rows[0]) if rows else by
        return Answer(csv_text([names, *(row.values() for row in rows)]), media="text/csv")
    waiting = held.count_not_applied(site=query["site"], from_day=from_day, to_day=to_day)
    return Answer({"report": name, "by": by, "rows": rows, "unapplied_events": waiting})


def _dimensions(text: str, name: str) -> list[str]:
    by = [word.strip() for word in text.split(",")]
    for word in by:
        if word not in DIMENSIONS:
            raise field_problem("/query/by", f"{word!r} is not one of {', '.join(DIMENSIONS)}")
        if word == "reason" and name != "scrap":
            raise field_problem("/query/by", "only scrap has a reason")
    if len(set(by)) < len(by):
        raise field_problem("/query/by", "each may be named once")
    return by


def _day(query: Any, field: str, shown: str) -> date | None:
    text: str | None = query[field]
    if text is None:
        return None
    try:
        if len(text) != len("2026-03-01"):
            raise ValueError(text)
        return date.fromisoformat(text)
    except ValueError:
        raise field_problem(f"/query/{shown}", "a day such as 2026-03-01 is wanted") from None


def _as_csv(wanted: str | None) -> bool:
    if wanted is not None:
        return wanted == "csv"
    best = request.accept_mimetypes.best_match(["application/json", "text/csv"], "application/json")
    return best == "text/csv"
