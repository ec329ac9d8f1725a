"""Every field of the contract says what it is, and in which unit where it has one."""

from __future__ import annotations

import importlib
import pkgutil
import re
from collections.abc import Iterator

import pytest
from marshmallow import Schema, fields

import schemas
from schemas.words import says

# The unit that the ending of a name stands for: SI symbols (ISO 80000) and the degree.
ENDINGS = {
    "mm": "mm",
    "kg": "kg",
    "kn": "kN",
    "kw": "kW",
    "deg": "degrees",
    "um": "µm",
    "cm": "cm",
    "s": "s",
    "ms": "ms",
    "m": "m",
    "j": "J",
    "mm2": "mm²",
}


def of_the_contract(kind: type[Schema] = Schema) -> Iterator[type[Schema]]:
    for one in kind.__subclasses__():
        if one.__module__.startswith("schemas."):
            yield one
        yield from of_the_contract(one)


@pytest.fixture(scope="module")
def contract() -> list[type[Schema]]:
    for module in pkgutil.iter_modules(schemas.__path__):
        importlib.import_module(f"schemas.{module.name}")
    return sorted(of_the_contract(), key=lambda one: one.__name__)


def test_no_field_lacks_its_words(contract: list[type[Schema]]) -> None:
    bare = [
        f"{schema.__name__}.{name}"
        for schema in contract
        for name, field in schema._declared_fields.items()
        if not str(field.metadata.get("description", "")).strip()
    ]
    assert bare == []


def test_figures_with_a_unit_in_their_name_have_it_in_their_words(contract: list[type[Schema]]) -> None:
    looked_at = 0
    for schema in contract:
        for name, field in schema._declared_fields.items():
            shown = str(field.data_key or name)
            ending = shown.rsplit("_", 1)[-1]
            inner = field.inner if isinstance(field, fields.List) else field
            text = isinstance(inner, fields.String | fields.Nested | fields.AwareDateTime)
            if "_" not in shown or ending not in ENDINGS or text:
                continue
            unit = ENDINGS[ending]
            if shown.endswith("_n_mm2"):
                unit = "N/mm²"
            elif shown.endswith("_mm_s"):
                unit = "mm/s"
            looked_at += 1
            assert f"[{unit}]" in field.metadata["description"], f"{schema.__name__}.{shown}"
    assert looked_at > 150


def test_words_say_nothing_twice_and_name_no_field_that_is_not_there(contract: list[type[Schema]]) -> None:
    for schema in contract:
        for name, field in schema._declared_fields.items():
            told = field.metadata.get("description", "")
            assert len(re.findall(r"\[", told)) <= 1, f"{schema.__name__}.{name}: {told}"
    with pytest.raises(KeyError, match="has no field colour"):

        @says(colour="of the sheet")
        class ASchema(Schema):
            length = fields.Float()
