"""The number by which a station tells that its centre is of an earlier version."""

from __future__ import annotations

import hashlib
import json
from typing import Any

from marshmallow import Schema, fields

from schemas.payloads import PAYLOADS, PAYLOADS_VERSION

KNOWN = {1: "ee37af0ed29b372a"}
"""By version, the digest of all types of events and their fields."""


def names(schema: type[Schema] | Schema) -> dict[str, Any]:
    """The fields of a schema by their names on the wire, with those of the objects inside."""
    made = schema() if isinstance(schema, type) else schema
    found: dict[str, Any] = {}
    for name, field in made.fields.items():
        inner = field.inner if isinstance(field, fields.List) else field
        found[field.data_key or name] = names(inner.schema) if isinstance(inner, fields.Nested) else {}
    return found


def test_a_type_or_a_field_that_is_added_raises_the_version() -> None:
    known = {kind: names(schema) for kind, schema in PAYLOADS.items()}
    digest = hashlib.sha256(json.dumps(known, sort_keys=True).encode()).hexdigest()[:16]
    assert {PAYLOADS_VERSION: digest}.items() <= KNOWN.items(), (
        f"raise PAYLOADS_VERSION and add its digest {digest}"
    )
