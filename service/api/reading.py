"""Reading a request strictly: JSON without doubtful numbers or doubled fields, headers, cursors."""

from __future__ import annotations

import json
import math
import zlib
from typing import Any, Final, NoReturn

from flask import current_app, request
from marshmallow import Schema, ValidationError

from schemas.fields import JsonInt, units_of_request
from schemas.problems import FieldError, WireError, field_errors
from service.api.problems import ProblemError


class DoubtfulJsonError(ValueError):
    """Valid for Python's reader, not for the contract."""


def json_body() -> Any:
    """The JSON document in the body.

    Raises
    ------
    ProblemError
        415 for another type or coding of content, 413 for one that unpacks to more than is taken, 400
        for what is not JSON in UTF-8.
    """
    if request.mimetype != "application/json":
        raise ProblemError(415, "Unsupported Media Type", "a body of Content-Type application/json is wanted")
    raw = request.get_data(cache=True)
    coding = request.headers.get("Content-Encoding", "identity").strip().lower()
    if coding == "gzip":
        raw = unpacked(raw, current_app.config["MAX_CONTENT_LENGTH"])
    elif coding != "identity":
        raise ProblemError(
            415,
            "Unsupported Media Type",
            "a body is taken plain or with Content-Encoding gzip",
            headers={"Accept-Encoding": "gzip"},
        )
    return parse_json(raw)


def unpacked(packed: bytes, most: int) -> bytes:
    """What a gzip body holds, never more than `most` bytes of it in memory.

    Raises
    ------
    ProblemError
        413 when it holds more, 400 when it is no gzip, is cut short or has something behind it.
    """
    reader = zlib.decompressobj(wbits=16 + zlib.MAX_WBITS)
    try:
        plain = reader.decompress(packed, most + 1)
    except zlib.error:
        raise ProblemError(400, "Bad Request", "the body is not gzip, as Content-Encoding says") from None
    if len(plain) > most:
        raise ProblemError(413, "Content Too Large", f"a body that unpacks to at most {most} bytes is taken")
    if not reader.eof or reader.unused_data:
        raise ProblemError(400, "Bad Request", "the gzip body is cut short, or has something behind it")
    return plain


MOST_LEVELS: Final = 50
"""How deep lists and objects may lie in one another; the contract has fewer than ten."""


def parse_json(raw: bytes) -> Any:
    """Parse JSON strictly."""
    try:
        document = json.loads(
            raw.decode("utf-8"),
            parse_constant=_constant,
            parse_float=_finite,
            object_pairs_hook=_once,
        )
    except UnicodeDecodeError:
        raise ProblemError(400, "Bad Request", "the body is not UTF-8") from None
    except DoubtfulJsonError as error:
        raise ProblemError(400, "Bad Request", f"the body is not JSON: {error}") from None
    except json.JSONDecodeError as error:
        where = f"line {error.lineno}, column {error.colno}"
        raise ProblemError(400, "Bad Request", f"the body is not JSON: {error.msg} in {where}") from None
    except RecursionError:
        raise ProblemError(400, "Bad Request", "the body is nested too deeply") from None
    except ValueError:
        raise ProblemError(400, "Bad Request", "the body has a number with too many digits") from None
    if _deeper_than(MOST_LEVELS, document):
        # What can be read is not always within what can be written again.
        raise ProblemError(400, "Bad Request", "the body is nested too deeply")
    return document


def _deeper_than(levels: int, document: Any) -> bool:
    level = [document] if isinstance(document, dict | list) else []
    for _ in range(levels + 1):
        level = [
            inside
            for outer in level
            for inside in (outer.values() if type(outer) is dict else outer)
            # Exact types, as JSON is read into: this looks at every value of every body.
            if type(inside) is dict or type(inside) is list
        ]
    return bool(level)


def _constant(word: str) -> NoReturn:
    raise DoubtfulJsonError(f"{word} is no number")


def _finite(digits: str) -> float:
    number = float(digits)
    if not math.isfinite(number):
        raise DoubtfulJsonError(f"{digits[:40]} is too large for a number")
    return number


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    if len(made) < len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise DoubtfulJsonError(f"the field {twice[:60]!r} is given twice in one object")
    return made


def loaded(schema: type[Schema], document: Any) -> Any:
    """Load a document by a schema, its bare lengths in the document's own `units`.

    Raises
    ------
    WireError
        Naming each field.
    """
    units: Any = document.get("units") if isinstance(document, dict) else None
    table = document.get("gauge_table") if isinstance(document, dict) else None
    with units_of_request("in" if units == "in" else "mm", table if isinstance(table, str) else None):
        try:
            return schema().load(document)
        except ValidationError as error:
            raise WireError(list(field_errors(error.messages))) from error


def query(schema: type[Schema]) -> dict[str, Any]:
    """The query of the address, by a schema; numbers may be written as text there.

    Raises
    ------
    WireError
        Naming the parameter, as ``/query/limit``.
    """
    given: dict[str, Any] = {}
    fields_of = schema().fields
    for name, values in request.args.lists():
        if len(values) > 1:
            raise WireError([FieldError(f"/query/{name}", "is given twice")])
        number = isinstance(fields_of.get(name), JsonInt) and _whole(values[0])
        given[name] = int(values[0]) if number else values[0]
    try:
        read: dict[str, Any] = schema().load(given)
    except ValidationError as error:
        raise WireError(list(field_errors(error.messages, "query"))) from error
    return read


def _whole(text: str) -> bool:
    return text.isascii() and text.isdigit() and len(text) < 10
