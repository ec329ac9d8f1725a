"""What the lines of a plan request say that no field of them shows to be wrong by itself.

They are looked at as they stand in the document, so that a request of which other fields cannot be read
is told everything at once.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from typing import Any, Final

from marshmallow import ValidationError

from schemas.fields import Text
from schemas.problems import FieldError, pointer
from schemas.records import MaterialSchema
from service.engine.materials import Material
from service.engine.materials_table import UnknownMaterial, material_named

_NAME: Final = Text(most=60)
_LISTS: Final = (("parts", "ref"), ("stock", "ref"), ("materials", "grade"))


def faults_of_lines(
    document: Mapping[str, Any], own: Sequence[Material], *, made_before: bool = False
) -> list[FieldError]:
    """Names that two lines have, grades that nobody knows, and tolerances with one limit only.

    Parameters
    ----------
    document
        A plan request.
    own
        The shop's grades.
    made_before
        Whether it is the order of a plan made before. A single limit was taken both ways then, and is
        read so.
    """
    found = [fault for name, key in _LISTS for fault in _twice(document, name, key)]
    if not made_before:
        found += _single_limits(document)
    return [*found, *_unknown_grades(document, own)]


def _twice(document: Mapping[str, Any], name: str, key: str) -> Iterator[FieldError]:
    first: dict[str, int] = {}
    for index, line in _lines(document, name):
        own = _text(line.get(key))
        if own is None:
            continue
        if own in first:
            yield FieldError(
                pointer(name, index, key),
                f"{own!r} is already the {key} of entry {first[own]}; each needs its own",
            )
        first.setdefault(own, index)


def _single_limits(document: Mapping[str, Any]) -> Iterator[FieldError]:
    for index, line in _lines(document, "parts"):
        tolerance = line.get("tolerance")
        if not isinstance(tolerance, Mapping):
            continue
        given = [name for name in ("minus", "plus") if tolerance.get(name) is not None]
        if len(given) == 1:
            (missing,) = {"minus", "plus"} - set(given)
            yield FieldError(
                pointer("parts", index, "tolerance", missing),
                f"{given[0]} is given without {missing}, and does not say how far the part may lie the other "
                "way; give both, 0 where nothing is allowed, or neither for the class",
            )


def _unknown_grades(document: Mapping[str, Any], own: Sequence[Material]) -> Iterator[FieldError]:
    grades: list[Material] = []
    for _, one in _lines(document, "materials"):
        with suppress(ValidationError):  # the contract says of it what is wrong
            grades.append(MaterialSchema().load(one))
    unreadable = {_text(one.get("grade")) for _, one in _lines(document, "materials")}
    told: set[str] = set()
    for name in ("parts", "stock"):
        for index, line in _lines(document, name):
            grade = _text(line.get("material"))
            if grade is None or grade in told or grade in unreadable - {one.grade for one in grades}:
                continue
            told.add(grade)
            try:
                material_named(grade, [*grades, *own])
            except UnknownMaterial as error:
                yield FieldError(pointer(name, index, "material"), str(error))


def _lines(document: Mapping[str, Any], name: str) -> Iterator[tuple[int, Mapping[str, Any]]]:
    given = document.get(name)
    for index, one in enumerate(given if isinstance(given, list) else ()):
        if isinstance(one, Mapping):
            yield index, one


def _text(value: Any) -> str | None:
    """A name as the contract reads it; None where it cannot be read."""
    try:
        found: str | None = _NAME.deserialize(value)
    except ValidationError:
        return None
    return found
