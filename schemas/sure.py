"""Seeing at a glance that a document keeps its schema: the usual case, many times faster.

A check is compiled from the schema itself, so that no rule is stated twice. It says yes only when the
schema would surely find nothing wrong; anything else, such as a field it does not know how to read,
is left to the schema, which then finds the words. It never says that something is wrong.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from functools import cache
from typing import Any, Final, TypeAlias

from marshmallow import Schema, ValidationError, fields, validate

from schemas.fields import (
    Choice,
    Document,
    Entries,
    Inner,
    JsonBool,
    JsonInt,
    JsonNumber,
    Many,
    Millimetres,
    Text,
    one_line,
)

_Check: TypeAlias = Callable[[Any], Any]
"""What a check answers counts as true or not."""

_CONTROL: Final = re.compile("[\x00-\x1f\x7f\ud800-\udfff]")

_HOOKS: Final = ("pre_load", "validates", "validates_schema")
"""Methods of a schema that look at more than one field, or change what is read."""


@cache
def sure(schema: type[Schema]) -> _Check:
    """A check that says yes only when documents surely keep the schema.

    >>> from schemas.payloads import BladeTurnedSchema
    >>> turned = sure(BladeTurnedSchema)
    >>> turned({"machine": "bench-3m", "edge": 2, "work": "turned"})
    True
    >>> turned({"machine": "bench-3m", "edge": 9, "work": "turned"})
    False
    """
    made = schema()
    if not issubclass(schema, Document) or any(made._hooks.get(hook) for hook in _HOOKS):
        return _never
    required: dict[str, _Check] = {}
    checks: dict[str, _Check] = {}
    nullable, named = set(), set()
    for name, field in made.fields.items():
        own = field.data_key or name
        checks[own] = _check_of(field)
        if field.required and not field.allow_none:
            required[own] = checks[own]
        if field.allow_none:
            nullable.add(own)
        if field.required and field.allow_none:
            named.add(own)
    # Of these every document has all, and most have few others.
    wanted, least = tuple(required.items()), len(required)

    def passes(document: Any) -> bool:
        # Exact types: what JSON is read into, and nothing that behaves like it.
        if type(document) is not dict:
            return False
        try:
            for name, check in wanted:
                if not check(document[name]):
                    return False
        except KeyError:
            return False
        if len(document) == least:
            return not named
        if named and not document.keys() >= named:
            return False
        for name, value in document.items():
            if name in required:
                continue
            other = checks.get(name)
            if other is None or not (name in nullable if value is None else other(value)):
                return False
        return True

    return passes


def _never(value: Any) -> bool:
    return False


def _check_of(field: fields.Field[Any]) -> _Check:
    maker = _MAKERS.get(type(field))
    return maker(field) if maker else _never


def _text(field: Any) -> _Check:
    least, most = 0, math.inf
    others: list[_Check] = []
    for one in field.validators:
        if type(one) is validate.Length:
            least, most = max(least, one.min or 0), min(most, math.inf if one.max is None else one.max)
        elif one is not one_line:
            others.append(_obeys(one))
    control = _CONTROL.search

    def plain(value: Any) -> bool:
        if type(value) is not str or not least <= len(value) <= most:
            return False
        # What can be printed has none, and that is told many times faster.
        return value.isprintable() or control(value) is None

    return _both(plain, others)


def _both(first: _Check, others: list[_Check]) -> _Check:
    if not others:
        return first
    *more, last = others
    before = _both(first, more)
    return lambda value: before(value) and last(value)


def _choice(field: Any) -> _Check:
    if len(field.validators) != 1 or type(field.validators[0]) is not validate.OneOf:
        return _never
    words = frozenset(field.validators[0].choices)
    return lambda value: type(value) is str and value in words


def _number(whole: bool) -> Callable[[Any], _Check]:
    def make(field: Any) -> _Check:
        low, high, others = -math.inf, math.inf, []
        for one in field.validators:
            if type(one) is validate.Range and one.min_inclusive and one.max_inclusive:
                low = max(low, -math.inf if one.min is None else one.min)
                high = min(high, math.inf if one.max is None else one.max)
            else:
                others.append(_obeys(one))
        kinds = (int,) if whole else (int, float)
        # So that what is not finite is refused, where a field has no bounds of its own.
        low, high = max(low, -_LARGEST), min(high, _LARGEST)

        def plain(value: Any) -> bool:
            return type(value) in kinds and low <= value <= high

        return _both(plain, others)

    return make


_LARGEST: Final = 1e300


def _boolean(field: Any) -> _Check:
    return _never if field.validators else lambda value: type(value) is bool


def _millimetres(field: Any) -> _Check:
    if field.validators:
        return _never
    zero_ok = field.zero_ok

    def passes(value: Any) -> bool:
        # Well within what is taken; the edges are left to the field.
        return (type(value) is float or type(value) is int) and (
            0.1 <= value <= 90_000 or (zero_ok and value == 0)
        )

    return passes


def _inner(field: Any) -> _Check:
    nested = field.nested
    if field.validators or not isinstance(nested, type) or field.many or field.only or field.exclude:
        return _never
    return sure(nested)


def _many(field: Any) -> _Check:
    if len(field.validators) != 1 or type(field.validators[0]) is not Entries:
        return _never
    least, most = field.validators[0].min, field.validators[0].max
    inner = _check_of(field.inner)
    if least is None or most is None or field.inner.allow_none:
        return _never
    return lambda value: type(value) is list and least <= len(value) <= most and all(map(inner, value))


def _object(field: Any) -> _Check:
    plain_keys = type(field.key_field) is fields.String and not field.key_field.validators
    if field.validators or field.value_field is not None or not plain_keys:
        return _never
    # Keys that were read from JSON are text; the words for text that is none are the field's.
    return lambda value: type(value) is dict and _TEXT.issuperset(map(type, value))


def _obeys(validator: Callable[[Any], Any]) -> _Check:
    if type(validator) is validate.Regexp:
        # A match is true, and None is not.
        match: _Check = validator.regex.match
        return match

    def passes(value: Any) -> bool:
        try:
            validator(value)
        except ValidationError:
            return False
        return True

    return passes


_TEXT: Final = frozenset({str})

_MAKERS: Final[Mapping[type, Callable[[Any], _Check]]] = {
    Text: _text,
    Choice: _choice,
    JsonInt: _number(True),
    JsonNumber: _number(False),
    JsonBool: _boolean,
    Millimetres: _millimetres,
    Inner: _inner,
    Many: _many,
    fields.Dict: _object,
}
