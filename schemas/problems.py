"""Errors on the wire: RFC 9457 problem details, with one entry a field, by JSON Pointer (RFC 6901)."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from marshmallow import Schema, fields

from schemas.words import says

NOT_VALID: Final = "/problems/not-valid"
"""The document does not keep the contract; `errors` says where."""

FORK: Final = "/problems/fork"
"""A pushed event has the number of another one, or does not follow the last one the centre has.

The problem carries `station`, `epoch`, `has_to_seq` and `last_hash`; nothing of the push was taken.
"""

GAP: Final = "/problems/gap"
"""Events are missing before the first that was pushed; carries the same members as a fork."""

CURSOR_GONE: Final = "/problems/cursor-gone"
"""The cursor is older than what the centre remembers of deletions: read the feed from the beginning."""

STALE: Final = "/problems/stale"
"""The record has another revision than the one in If-Match; carries `revision`."""

REVISION_WANTED: Final = "/problems/revision-wanted"
"""A record that is there already is changed only with If-Match."""

EXISTS: Final = "/problems/exists"
"""There is a record of that name already."""

IN_USE: Final = "/problems/in-use"
"""Other records name this one."""

WITHDRAWN: Final = "/problems/withdrawn"
"""The station that wrote the event down took it back; it is not applied after all."""

KEY_REUSED: Final = "/problems/key-reused"
"""The Idempotency-Key came with another request before."""

NO_ROOM: Final = "/problems/no-room"
"""The database of the service has no room left on its disk; nothing was changed."""

NOT_TO_BE_CUT: Final = "/problems/not-to-be-cut"
"""The cut cannot or must not be made so, and there are no settings for it; `findings` says why."""

UNAUTHORISED: Final = "/problems/unauthorised"
FORBIDDEN: Final = "/problems/forbidden"


@dataclass(frozen=True, slots=True)
class FieldError:
    """What is wrong with one field: where (a JSON Pointer) and what is wanted."""

    pointer: str
    message: str


class WireError(ValueError):
    """A document that does not keep the contract; `errors` says where and why."""

    def __init__(self, errors: Sequence[FieldError]) -> None:
        self.errors = tuple(errors)
        super().__init__("; ".join(f"{e.pointer or '/'}: {e.message}" for e in self.errors))


@says()
class FieldErrorSchema(Schema):
    """One entry of ``errors``."""

    pointer = fields.String(required=True, metadata={"description": "JSON Pointer to the field"})
    message = fields.String(required=True, metadata={"description": "what is wrong and what is wanted"})


@says(
    type="address that names the kind of problem",
    title="the kind of problem in words",
    status="status of the answer by HTTP",
    detail="what went wrong here",
    instance="path of the request",
    errors="what is wrong, one entry a field",
)
class ProblemSchema(Schema):
    """``application/problem+json``."""

    type = fields.String(required=True)
    title = fields.String(required=True)
    status = fields.Integer(required=True)
    detail = fields.String()
    instance = fields.String()
    errors = fields.List(fields.Nested(FieldErrorSchema))


def pointer(*steps: str | int) -> str:
    """A JSON Pointer from its steps.

    >>> pointer("parts", 3, "a/b")
    '/parts/3/a~1b'
    """
    return "".join("/" + str(step).replace("~", "~0").replace("/", "~1") for step in steps)


def field_errors(messages: Any, *steps: str | int) -> Iterator[FieldError]:
    """Flatten marshmallow's nested messages."""
    if isinstance(messages, Mapping):
        for key, value in messages.items():
            inside = steps if key == "_schema" else (*steps, key)
            yield from field_errors(value, *inside)
    elif isinstance(messages, list | tuple):
        for value in messages:
            yield from field_errors(value, *steps)
    else:
        yield FieldError(pointer(*steps), str(messages))
