"""Fields that read JSON strictly and answer in plain words.

Numbers must be numbers and true must be true: text is taken only where the contract says that
lengths may be written as text. Every length becomes whole hundredths of a millimetre on the way in
and millimetres on the way out.
"""

# ruff: noqa: RUF012 - marshmallow reads these dictionaries off the class and declares them on the instance

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from difflib import get_close_matches
from typing import Any, ClassVar, Final, TypeAlias

from marshmallow import RAISE, Schema, ValidationError, fields, post_load, validate

from service.engine.quantities import (
    QuantityError,
    Units,
    parse_length,
    parse_thickness,
    to_mm,
)

_units: ContextVar[Units] = ContextVar("units", default="mm")
_gauge_table: ContextVar[str | None] = ContextVar("gauge_table", default=None)

TEXT_LIMIT = 200

_Messages: TypeAlias = dict[str, str | list[Any] | dict[Any, Any]]

_WORDS: _Messages = {
    "required": "is missing",
    "null": "may not be empty",
    "validator_failed": "is not valid",
}


@contextmanager
def units_of_request(units: Units, gauge_table: str | None = None) -> Iterator[None]:
    """Within this block bare numbers of :class:`Size` fields are in `units`."""
    tokens = _units.set(units), _gauge_table.set(gauge_table)
    try:
        yield
    finally:
        _units.reset(tokens[0])
        _gauge_table.reset(tokens[1])


class JsonInt(fields.Integer):
    """A whole JSON number; 12.0 counts as whole, "12" and true do not."""

    default_error_messages: _Messages = {
        **_WORDS,
        "invalid": "a whole number is wanted",
    }

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> int:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self.make_error("invalid")
        if isinstance(value, float) and (not math.isfinite(value) or not value.is_integer()):
            raise self.make_error("invalid")
        return int(value)


class JsonNumber(fields.Float):
    """A finite JSON number; text and true are refused."""

    default_error_messages: _Messages = {
        **_WORDS,
        "invalid": "a number is wanted",
    }

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self.make_error("invalid")
        try:
            number = float(value)
        except OverflowError:
            raise self.make_error("invalid") from None
        if not math.isfinite(number):
            raise ValidationError("a finite number is wanted")
        return number


class JsonBool(fields.Boolean):
    """true or false and nothing else."""

    default_error_messages: _Messages = {
        **_WORDS,
        "invalid": "true or false is wanted",
    }

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> bool:
        if not isinstance(value, bool):
            raise self.make_error("invalid")
        return value


class Text(fields.String):
    """One line of text without control characters, 1 to `most` characters."""

    default_error_messages: _Messages = {
        **_WORDS,
        "invalid": "text is wanted",
        "invalid_utf8": "text in UTF-8 is wanted",
    }

    def __init__(
        self,
        *,
        least: int = 1,
        most: int = TEXT_LIMIT,
        also: Callable[[str], Any] | None = None,
        **kwargs: Any,
    ) -> None:
        length = validate.Length(min=least, max=most, error=f"{least} to {most} characters are wanted")
        more = [] if also is None else [also]
        super().__init__(validate=[length, one_line, *more], **kwargs)


def addressable(value: str) -> None:
    """Refuse a name that no address can end with.

    Raises
    ------
    ValidationError
        When it is ``.`` or ``..``, which are steps of a path.
    """
    if value in {".", ".."}:
        raise ValidationError("a name other than . and .. is wanted: no address leads to it")


def one_line(value: str) -> None:
    """Refuse control characters and halves of surrogate pairs.

    Raises
    ------
    ValidationError
        Saying what is wanted.
    """
    if any(ord(letter) < 32 or ord(letter) == 127 or 0xD800 <= ord(letter) <= 0xDFFF for letter in value):
        raise ValidationError("one line of text without control characters is wanted")


_ID = re.compile(r"\A[A-Za-z0-9][A-Za-z0-9._-]*\Z")


class Name(Text):
    """The id of a record: letters, digits, dot, dash and underscore, so that it can stand in a path."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(most=60, also=_plain_name, **kwargs)


def _plain_name(value: str) -> None:
    if not _ID.match(value):
        raise ValidationError("letters, digits, . - and _ are wanted, with a letter or digit first")


class Choice(Text):
    """One of a few words."""

    def __init__(self, *words: str, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.validators = [validate.OneOf(words, error=f"one of {', '.join(words)} is wanted")]


class Entries(validate.Length):
    """How many entries a list may have; says the limit that is not kept, and no other."""

    def _format_error(self, value: Any, message: str) -> str:
        if self.min == self.max:
            return f"{self.min} entries are wanted"
        if self.min is not None and len(value) < self.min:
            return f"at least {'1 entry is' if self.min == 1 else f'{self.min} entries are'} wanted"
        return f"at most {self.max} entries are wanted"


class Many(fields.List[Any]):
    """A JSON array with at most `most` entries."""

    default_error_messages: _Messages = {**_WORDS, "invalid": "a list is wanted"}

    def __init__(self, inner: Any, *, least: int = 0, most: int = 20_000, **kwargs: Any) -> None:
        super().__init__(inner, validate=Entries(min=least, max=most), **kwargs)


class Inner(fields.Nested):
    """A JSON object inside another."""

    default_error_messages: _Messages = {**_WORDS, "type": "an object is wanted"}


class Millimetres(fields.Field[int]):
    """A length in millimetres on the wire, in whole hundredths inside. Its name ends in ``_mm``."""

    default_error_messages: _Messages = _WORDS
    fixed_units: ClassVar[bool] = True

    def __init__(self, *, zero_ok: bool = False, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.zero_ok = zero_ok

    def _serialize(self, value: int | None, attr: str | None, obj: Any, **kwargs: Any) -> float | None:
        return None if value is None else to_mm(value)

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> int:
        try:
            return self._parsed(value)
        except QuantityError as error:
            raise ValidationError(str(error)) from error

    def _parsed(self, value: Any) -> int:
        if isinstance(value, str):
            raise QuantityError("a number of millimetres is wanted")
        return parse_length(value, zero_ok=self.zero_ok)


class Size(Millimetres):
    """A length in the units of the request, as a number, or as text with its own unit."""

    fixed_units = False

    def _parsed(self, value: Any) -> int:
        return parse_length(value, _units.get(), zero_ok=self.zero_ok)


class Limit(Size):
    """How far a size may be missed one way; below 0 it would be a limit on the other side."""

    def _parsed(self, value: Any) -> int:
        try:
            return super()._parsed(value)
        except QuantityError as error:
            if "is negative" not in str(error):
                raise
            words = str(error).removesuffix("a length is wanted")
            raise QuantityError(
                f"{words}how far the part may lie this way from its size is wanted, 0 or more; "
                "where both limits lie on one side, give another size"
            ) from error


class Thickness(Millimetres):
    """A thickness in the units of the request, as text with its unit, or as a sheet gauge number."""

    fixed_units = False

    def _parsed(self, value: Any) -> int:
        return parse_thickness(value, _units.get(), _gauge_table.get())


_UNKNOWN: Final = "this field is not known here"


class _Helpful(Schema):
    """A schema that names the field that was probably meant, as lengths have a unit in some names."""

    def handle_error(self, error: ValidationError, data: Any, *, many: bool, **kwargs: Any) -> None:
        """Put the name into the message of each unknown field."""
        messages = error.messages
        if many or not isinstance(messages, dict) or not isinstance(data, Mapping):
            return
        names = [str(field.data_key or name) for name, field in self.fields.items()]
        free = [name for name in names if name not in data]
        for name, said in messages.items():
            if said == [_UNKNOWN] and (near := get_close_matches(str(name), free, 1, 0.7)):
                messages[name] = [f"{_UNKNOWN}; is {near[0]} meant?"]


class Record(_Helpful):
    """A schema that makes an engine object (`makes`) out of what it reads; unknown fields are refused."""

    makes: ClassVar[type[Any]]
    error_messages: dict[str, str] = {
        "unknown": _UNKNOWN,
        "type": "an object is wanted",
    }

    class Meta:
        """Nothing passes that the contract does not name."""

        unknown = RAISE

    @post_load
    def _make(self, data: Mapping[str, Any], **kwargs: Any) -> Any:
        return self.makes(**data)


class Document(_Helpful):
    """As :class:`Record`, but it reads into a plain dictionary."""

    error_messages = Record.error_messages

    class Meta:
        """Nothing passes that the contract does not name."""

        unknown = RAISE


def positive(*, most: float = 1e9) -> validate.Range:
    """Greater than zero, at most `most`."""
    return validate.Range(
        min=0, min_inclusive=False, max=most, error=f"a number above 0 and at most {most:g} is wanted"
    )


def between(least: float, most: float) -> validate.Range:
    """From `least` to `most`, both included."""
    return validate.Range(min=least, max=most, error=f"a number from {least:.10g} to {most:.10g} is wanted")
