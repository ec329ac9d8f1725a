"""Lists and the feed in pages: where one begins, and the cursor of the next."""

from __future__ import annotations

import base64
import binascii
import json
from collections.abc import Callable, Mapping, Sequence
from typing import Any, TypeVar

from service.api.problems import field_problem

_Place = TypeVar("_Place", str, int)
_Row = TypeVar("_Row")


def begins_after(query: Mapping[str, Any], kind: type[_Place]) -> _Place:
    """The place after which a page begins, by the query of its address; the front without a cursor.

    Raises
    ------
    ProblemError
        422 when the cursor is none of ours.
    """
    cursor = query["cursor"]
    return kind(read_cursor(cursor, kind)[0]) if cursor else kind()


def page(
    found: Sequence[_Row], limit: int, write: Callable[[_Row], Any], place: Callable[[_Row], str | int]
) -> dict[str, Any]:
    """`limit` rows as `items`; where more were `found`, the cursor of the last one's `place` as `next`."""
    document: dict[str, Any] = {"items": [write(row) for row in found[:limit]]}
    document.update(following(found, limit, place))
    return document


def following(found: Sequence[_Row], limit: int, place: Callable[[_Row], str | int]) -> dict[str, str]:
    """The field `next` of a page of `limit` rows, where more were found."""
    return {"next": write_cursor(place(found[limit - 1]))} if len(found) > limit else {}


def write_cursor(*place: str | int) -> str:
    """A place in a list or feed as text that nobody needs to understand."""
    return base64.urlsafe_b64encode(json.dumps(place).encode()).decode().rstrip("=")


def read_cursor(cursor: str, *kinds: type) -> tuple[Any, ...]:
    """The place a cursor stands for.

    Raises
    ------
    ProblemError
        422 when it is none of ours.
    """
    try:
        padded = cursor + "=" * (-len(cursor) % 4)
        place = json.loads(base64.b64decode(padded, altchars=b"-_", validate=True))
        if not isinstance(place, list) or [type(step) for step in place] != list(kinds):
            raise ValueError(cursor)
        if any(isinstance(step, int) and not 0 <= step < 2**63 for step in place):
            raise ValueError(cursor)
        if any(isinstance(step, str) and "\0" in step for step in place):
            raise ValueError(cursor)
        # Half of a surrogate pair can be written in JSON, but not be looked up.
        for step in place:
            str(step).encode()
    except (ValueError, binascii.Error, RecursionError):
        raise field_problem("/query/cursor", "a cursor that this service gave is wanted") from None
    return tuple(place)
