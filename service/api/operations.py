"""The table of operations: every route with its scopes, its schemas and its words, in one place.

From it come the Flask routes, the checks of scope, and the OpenAPI document, so that none of them
can say what the others do not.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Final, TypeAlias

from flask import Flask, Response, current_app, json, request
from marshmallow import Schema, ValidationError

from schemas.fields import Text
from schemas.problems import KEY_REUSED, NOT_VALID, FieldError
from service.api import reading
from service.api.problems import ProblemError, field_problem, forbidden, unauthorised
from service.engine.fingerprint import canonical_json
from service.store import answers
from service.store.tokens import Caller
from service.store.tokens import caller as caller_of

JSON: Final = "application/json"


@dataclass(frozen=True, slots=True)
class Given:
    """A request, as far as it was read before the view is called."""

    caller: Caller
    now: datetime
    document: Any = None
    body: Any = None
    query: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Answer:
    """What a view answers: a JSON document, or text of another media type."""

    document: Any = None
    status: int = 200
    headers: Mapping[str, str] = field(default_factory=dict)
    media: str = JSON

    def response(self) -> Response:
        """As Flask wants it."""
        if self.status == 204:
            text = ""
        else:
            text = self.document if self.media != JSON else json.dumps(self.document)
        made = Response(text, self.status, mimetype=self.media)
        made.headers.extend(dict(self.headers))
        return made


View: TypeAlias = Callable[..., Answer]


@dataclass(frozen=True, slots=True)
class Operation:
    """One method of one path. Without scopes anybody may call it."""

    method: str
    path: str
    view: View
    scopes: tuple[str, ...]
    summary: str
    tag: str
    body: type[Schema] | None
    read_body: bool
    query: type[Schema] | None
    answers: Mapping[int, type[Schema] | str | None]
    revisioned: bool
    keyed: bool
    slow: bool

    @property
    def name(self) -> str:
        """Unique name, from that of the view."""
        return f"{self.tag}.{self.view.__name__}"

    def add_to(self, app: Flask) -> None:
        """Add the route to an app."""
        app.add_url_rule(
            f"/v1{self.path}",
            endpoint=self.name,
            view_func=_view_of(self),
            methods=[self.method],
            provide_automatic_options=False,
        )


_NOBODY: Final = Caller("", "nobody", frozenset(), None, None)


class Operations:
    """The operations of one resource; called as a decorator it adds one."""

    def __init__(self, tag: str) -> None:
        self.tag = tag
        self.all: list[Operation] = []

    def __call__(
        self,
        method: str,
        path: str,
        *,
        scopes: tuple[str, ...],
        summary: str,
        answers: Mapping[int, type[Schema] | str | None],
        body: type[Schema] | None = None,
        read_body: bool = True,
        query: type[Schema] | None = None,
        revisioned: bool = False,
        keyed: bool = True,
        slow: bool = False,
    ) -> Callable[[View], View]:
        """Add an operation.

        Parameters
        ----------
        scopes
            Any of them is enough; ``admin`` is always enough but for ``("station",)`` alone. Empty:
            open to all.
        answers
            Status to schema of the JSON answer, or a media type, or None for no content.
        body, read_body
            Schema of the JSON body; with `read_body` False it is only documented, and the view
            reads the document itself.
        revisioned
            Whether If-Match belongs to it.
        keyed
            Whether a POST takes an Idempotency-Key.
        slow
            Whether it reckons for long, or changes nothing: then no lock is held meanwhile. Such an
            operation must come to the same when it is done twice.
        """

        def added(view: View) -> View:
            self.all.append(
                Operation(
                    method=method,
                    path=path,
                    view=view,
                    scopes=scopes,
                    summary=summary,
                    tag=self.tag,
                    body=body,
                    read_body=read_body,
                    query=query,
                    answers=answers,
                    revisioned=revisioned,
                    keyed=keyed and method == "POST",
                    slow=slow,
                )
            )
            return view

        return added


def _view_of(operation: Operation) -> Callable[..., Response]:
    def view(**path: str) -> Response:
        now = current_app.config["CLOCK"]()
        who = _checked_caller(operation, now)
        for name, value in path.items():
            _check_path(name, value)
        query = reading.query(operation.query) if operation.query else _no_query()
        document = body = None
        if operation.body is not None:
            document = reading.json_body()
            body = reading.loaded(operation.body, document) if operation.read_body else None
        given = Given(who, now, document, body, query)
        if operation.method == "POST":
            return _keyed(operation, given, path)
        return operation.view(given, **path).response()

    return view


def _checked_caller(operation: Operation, now: datetime) -> Caller:
    if not operation.scopes:
        return _NOBODY
    kind, _, secret = request.headers.get("Authorization", "").partition(" ")
    if kind.lower() != "bearer" or not secret.strip():
        raise unauthorised("the header Authorization: Bearer … is wanted, with a token of this service")
    who = caller_of(secret.strip(), now)
    if who is None:
        raise unauthorised("this token is unknown, has expired or was revoked")
    enough = set(operation.scopes)
    if enough != {"station"}:
        enough.add("admin")
    if not who.scopes & enough:
        wanted = " or ".join(sorted(enough))
        raise forbidden(f"the scope {wanted} is wanted; this token has {', '.join(sorted(who.scopes))}")
    return who


def _check_path(name: str, value: str) -> None:
    try:
        Text(most=200).deserialize(value)
    except ValidationError as error:
        raise ProblemError(404, "Not found", f"{name}: {'; '.join(map(str, error.messages))}") from error


def _no_query() -> dict[str, Any]:
    for name in request.args:
        raise field_problem(f"/query/{name}", "this parameter is not known here")
    return {}


def _keyed(operation: Operation, given: Given, path: Mapping[str, str]) -> Response:
    key = request.headers.get("Idempotency-Key")
    if key is None:
        return operation.view(given, **path).response()
    if not operation.keyed:
        raise ProblemError(
            422,
            "No Idempotency-Key here",
            "an Idempotency-Key is not taken here, as the answer is shown once and never kept",
            kind=NOT_VALID,
            errors=[FieldError("/headers/Idempotency-Key", "leave it out")],
        )
    key = key.strip('"')
    if not 1 <= len(key) <= 200 or not key.isascii() or not key.isprintable():
        raise field_problem("/headers/Idempotency-Key", "1 to 200 printable ASCII characters are wanted")
    asked = hashlib.sha256(
        b"\n".join((operation.method.encode(), request.path.encode(), canonical_json(given.document)))
    ).hexdigest()

    def replayed(kept: answers.Kept) -> Response:
        if kept.request_hash != asked:
            raise ProblemError(
                422,
                "The Idempotency-Key was used before",
                "this Idempotency-Key came with another request before; a new request wants a new key",
                kind=KEY_REUSED,
                errors=[FieldError("/headers/Idempotency-Key", "a key that was not used before is wanted")],
            )
        headers = {**kept.headers, "Idempotent-Replayed": "true"}
        return Answer(kept.document, kept.status, headers).response()

    return answers.once(
        given.caller.token,
        key,
        found=replayed,
        made=lambda: _made(operation, given, path, asked),
        now=given.now,
        locked=not operation.slow,
    )


def _made(
    operation: Operation, given: Given, path: Mapping[str, str], asked: str
) -> tuple[answers.Kept, Response]:
    answer = operation.view(given, **path)
    kept = answers.Kept(asked, answer.status, dict(answer.headers), answer.document)
    return kept, answer.response()
