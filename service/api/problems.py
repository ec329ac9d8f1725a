"""Every error of the service as an RFC 9457 problem."""

from __future__ import annotations

import json
import logging
from collections.abc import Iterable, Mapping
from typing import Any

from flask import Flask, Response, request
from peewee import OperationalError
from werkzeug.exceptions import HTTPException, RequestEntityTooLarge

from schemas.problems import FORBIDDEN, NO_ROOM, NOT_VALID, UNAUTHORISED, FieldError, WireError
from service.store.database import PUT_BACK, is_damaged, is_full

log = logging.getLogger("shearwright.api")


class ProblemError(Exception):
    """An error to be told to the caller."""

    def __init__(
        self,
        status: int,
        title: str,
        detail: str,
        *,
        kind: str = "about:blank",
        errors: Iterable[FieldError] = (),
        members: Mapping[str, Any] | None = None,
        headers: Mapping[str, str] | None = None,
    ) -> None:
        super().__init__(detail)
        self.status = status
        self.title = title
        self.detail = detail
        self.kind = kind
        self.errors = tuple(errors)
        self.members = dict(members or {})
        self.headers = dict(headers or {})


def not_valid(errors: Iterable[FieldError], detail: str | None = None) -> ProblemError:
    """422: which fields are wrong, and what is wanted."""
    listed = tuple(errors)
    first = listed[0]
    words = detail or f"{first.pointer or 'the document'}: {first.message}"
    if len(listed) > 1 and detail is None:
        words += f" (and {len(listed) - 1} more)"
    return ProblemError(
        422, "The request is not as the contract wants it", words, kind=NOT_VALID, errors=listed
    )


def field_problem(pointer: str, message: str) -> ProblemError:
    """422 for one field."""
    return not_valid([FieldError(pointer, message)])


def unauthorised(detail: str) -> ProblemError:
    """401."""
    return ProblemError(
        401,
        "A valid token is wanted",
        detail,
        kind=UNAUTHORISED,
        headers={"WWW-Authenticate": 'Bearer realm="shearwright"'},
    )


def forbidden(detail: str) -> ProblemError:
    """403."""
    return ProblemError(403, "This token may not do that", detail, kind=FORBIDDEN)


def not_found(detail: str) -> ProblemError:
    """404."""
    return ProblemError(404, "Not found", detail)


def problem_response(problem: ProblemError) -> Response:
    """A problem as a response."""
    document: dict[str, Any] = {
        "type": problem.kind,
        "title": problem.title,
        "status": problem.status,
        "detail": problem.detail,
        "instance": request.path,
        **problem.members,
    }
    if problem.errors:
        document["errors"] = [
            {"pointer": error.pointer, "message": error.message} for error in problem.errors
        ]
    response = Response(json.dumps(document), problem.status, mimetype="application/problem+json")
    response.headers.extend(problem.headers)
    return response


_WORDS = {
    400: "the request could not be read",
    404: "there is nothing at this address; /v1/docs lists what there is",
    405: "this address does not take that method",
    413: "the body is larger than is taken",
    415: "a body of Content-Type application/json is wanted",
}


def register_errors(app: Flask) -> None:
    """Turn every error of the app into a problem."""

    @app.errorhandler(ProblemError)
    def _told(error: ProblemError) -> Response:
        return problem_response(error)

    @app.errorhandler(WireError)
    def _wire(error: WireError) -> Response:
        return problem_response(not_valid(error.errors))

    @app.errorhandler(RequestEntityTooLarge)
    def _too_large(error: RequestEntityTooLarge) -> Response:
        most = app.config["MAX_CONTENT_LENGTH"]
        return problem_response(
            ProblemError(413, "Content Too Large", f"a body of at most {most} bytes is taken")
        )

    @app.errorhandler(HTTPException)
    def _http(error: HTTPException) -> Response:
        status = error.code or 500
        headers = {}
        if status == 405 and (allowed := getattr(error, "valid_methods", None)):
            headers["Allow"] = ", ".join(sorted(allowed))
        detail = _WORDS.get(status, error.description or error.name)
        return problem_response(ProblemError(status, error.name, detail, headers=headers))

    @app.errorhandler(OperationalError)
    def _database(error: OperationalError) -> Response:
        if is_full(error):
            log.exception("the database has no room left")
            return problem_response(
                ProblemError(
                    507,
                    "No room left",
                    "the database of the service has no room left on its disk, so nothing was changed; "
                    "stations keep what they have and send it again",
                    kind=NO_ROOM,
                    headers={"Retry-After": "60"},
                )
            )
        log.exception("the database does not answer")
        return problem_response(
            ProblemError(
                503,
                "The database does not answer",
                "nothing was changed; try again shortly",
                headers={"Retry-After": "5"},
            )
        )

    @app.errorhandler(Exception)
    def _fault(error: Exception) -> Response:
        if is_damaged(error):
            log.exception("the database is damaged; %s", PUT_BACK)
            return problem_response(
                ProblemError(
                    500,
                    "The database is damaged",
                    "the database of the service is damaged, and whoever keeps it has to put it back; "
                    "stations keep what they have and send it again",
                )
            )
        log.exception("fault in %s %s", request.method, request.path)
        return problem_response(
            ProblemError(500, "A fault of the service", "the fault was written to the service's log")
        )
