"""Tokens over HTTP. The secret of a new one is shown in its answer, and nowhere ever again."""

from __future__ import annotations

from typing import Any

from schemas.answers import PageQuerySchema, page_of
from schemas.problems import FieldError
from schemas.tokens import NewTokenSchema, TokenRequestSchema, TokenSchema
from service.api.operations import Answer, Given, Operations
from service.api.paging import begins_after, page
from service.api.problems import not_found, not_valid
from service.store import records, tokens

keys = Operations("tokens")


@keys(
    "POST",
    "/tokens",
    scopes=("admin",),
    summary="Make a token; its secret is in this answer only",
    body=TokenRequestSchema,
    answers={201: NewTokenSchema},
    keyed=False,
)
def make_token(given: Given) -> Answer:
    """Make a token."""
    body = given.body
    if body["site"] is not None and records.find("site", body["site"]) is None:
        raise not_valid([FieldError("/site", f"no site is known by the id {body['site']!r}")])
    if body["expires_at"] is not None and body["expires_at"] <= given.now:
        raise not_valid([FieldError("/expires_at", "is past; a time yet to come is wanted")])
    row, secret = tokens.make(
        body["name"],
        body["scopes"],
        now=given.now,
        site=body["site"],
        station=body["station"],
        expires_at=body["expires_at"],
    )
    document: dict[str, Any] = {**TokenSchema().dump(row), "secret": secret}
    return Answer(document, 201, {"Location": f"/v1/tokens/{row.id}", "Cache-Control": "no-store"})


@keys(
    "GET",
    "/tokens",
    scopes=("admin",),
    summary="List tokens, without their secrets",
    query=PageQuerySchema,
    answers={200: page_of(TokenSchema)},
)
def list_tokens(given: Given) -> Answer:
    """List tokens."""
    limit = given.query["limit"]
    rows = tokens.listed(begins_after(given.query, str), limit + 1)
    return Answer(page(rows, limit, TokenSchema().dump, lambda row: row.id))


@keys(
    "DELETE",
    "/tokens/<key>",
    scopes=("admin",),
    summary="Revoke a token, at once and for good",
    answers={204: None},
)
def revoke_token(given: Given, key: str) -> Answer:
    """Revoke a token."""
    if not tokens.revoke(key, given.now):
        raise not_found(f"there is no token {key!r}")
    return Answer(status=204)
