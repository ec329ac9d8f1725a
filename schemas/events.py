"""What is written down at the shear, as events: the envelope and the chain; payloads are in `payloads`.

A station numbers its events 1, 2, 3… within an epoch (a new one whenever its store is created or
restored), and each carries the hash of the one before. The same station, epoch and number with the
same hash is a repeat; with another hash it is a fork.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping
from datetime import datetime
from json.encoder import encode_basestring_ascii as _quoted
from typing import Any, Final

from marshmallow import Schema, ValidationError, fields, validate

from schemas.fields import (
    Document,
    Inner,
    JsonInt,
    Many,
    Text,
    between,
)
from schemas.payloads import HEX64, PAYLOADS, UUID
from schemas.problems import FieldError, field_errors
from schemas.sure import sure
from schemas.words import says
from service.engine.fingerprint import canonical_json, canonical_text

FIRST_HASH: Final = "0" * 64
"""``prev_hash`` of the first event of an epoch."""

MOST_EVENTS: Final = 500
"""Events one push may carry."""

_TIME = re.compile(r"\A\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d{1,6})?(Z|[+-]\d\d:\d\d)\Z")


class Moment(fields.AwareDateTime):
    """A time by RFC 3339, with its offset."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        if not isinstance(value, str) or not _TIME.match(value):
            raise ValidationError("a time such as 2026-03-02T07:15:00Z is wanted")
        return super()._deserialize(value, attr, data, **kwargs)


def _moment(value: str) -> None:
    if _TIME.match(value):
        try:
            datetime.fromisoformat(value)
        except ValueError:
            pass
        else:
            return
    # For the words; and what it takes besides is taken.
    _MOMENT.deserialize(value)


_MOMENT: Final = Moment()


@says(
    prev_hash="hash of the event before it; 64 zeros before the first",
    hash="SHA-256 over the canonical JSON of the event without this field",
)
class EventSchema(Document):
    """The envelope of an event. `payload` is checked by :func:`payload_errors`, after the chain.

    ``happened_at`` is the station's clock as it was read; it stays text so that the hash holds.
    """

    event_id = Text(required=True, also=UUID)
    station = Text(required=True, most=60)
    epoch = Text(required=True, also=UUID)
    seq = JsonInt(required=True, validate=between(1, 2**53))
    happened_at = Text(required=True, most=40, also=_moment)
    type = Text(required=True, most=40)
    payload = fields.Dict(keys=fields.String(), required=True)
    prev_hash = Text(required=True, also=HEX64)
    hash = Text(required=True, also=HEX64)


def event_hash(event: Mapping[str, Any]) -> str:
    """SHA-256 over the canonical JSON of an event without its own ``hash``, in hexadecimal."""
    body = {name: value for name, value in event.items() if name != "hash"}
    return hashlib.sha256(canonical_json(body)).hexdigest()


def written_and_hash(event: Mapping[str, Any]) -> tuple[str, str]:
    """The canonical JSON of an event as text, and its :func:`event_hash`, each value written only once.

    >>> event = dict.fromkeys(EventSchema().fields, "é") | {"seq": 1, "payload": {"b": 1, "a": 0.5}}
    >>> written_and_hash(event) == (canonical_json(event).decode("ascii"), event_hash(event))
    True
    """
    if len(event) != _ENVELOPE or type(event["seq"]) is not int:
        return canonical_text(event), event_hash(event)
    before = (
        f'{{"epoch":{_quoted(event["epoch"])},"event_id":{_quoted(event["event_id"])},'
        f'"happened_at":{_quoted(event["happened_at"])},'
    )
    after = (
        f'"payload":{canonical_text(event["payload"])},'
        f'"prev_hash":{_quoted(event["prev_hash"])},"seq":{event["seq"]},'
        f'"station":{_quoted(event["station"])},"type":{_quoted(event["type"])}}}'
    )
    hashed = hashlib.sha256(f"{before}{after}".encode("ascii")).hexdigest()
    return f'{before}"hash":{_quoted(event["hash"])},{after}', hashed


_ENVELOPE: Final = len(EventSchema().fields)


def payload_errors(event_type: str, payload: Mapping[str, Any]) -> list[FieldError] | None:
    """What is wrong with a payload; None when the type is not known here (keep it, do not apply it)."""
    schema = PAYLOADS.get(event_type)
    if schema is None:
        return None
    if sure(schema)(payload):
        return []
    messages = schema().validate(payload)
    return list(field_errors(messages, "payload")) if messages else []


@says()
class PushSchema(Document):
    """A run of events from one station, in order and without holes."""

    station = Text(required=True, most=60)
    sent_at = Text(
        required=True,
        most=40,
        also=_moment,
        metadata={"description": "the station's clock when sending"},
    )
    events = Many(Inner(EventSchema), required=True, most=MOST_EVENTS)


@says(
    errors="what is wrong with it, by its fields",
)
class PushResultSchema(Schema):
    """What became of one event.

    Within the answer to a push it has no `notes`: stations of before read each result strictly.
    """

    epoch = fields.String(required=True)
    seq = fields.Integer(required=True)
    state = fields.String(
        required=True,
        validate=validate.OneOf(("applied", "repeat", "kept", "quarantined")),
        metadata={
            "description": "kept: of a type not known yet, kept until it is; "
            "quarantined: kept, not applied, a person must look"
        },
    )
    errors = fields.List(fields.Dict())
    notes = fields.List(
        fields.String(),
        metadata={"description": "what the station should know besides, in words for a person"},
    )


@says(
    results="what became of each event that was sent",
)
class PushAnswerSchema(Schema):
    """How far the centre has this station's events, and what became of each that was sent."""

    centre_epoch = fields.String(required=True)
    server_time = fields.String(required=True)
    station = fields.String(required=True)
    epoch = fields.String(required=True, allow_none=True)
    has_to_seq = fields.Integer(required=True)
    last_hash = fields.String(required=True)
    results = fields.List(fields.Nested(PushResultSchema), required=True)
    notes = fields.List(
        fields.String(),
        metadata={"description": "what persons at the station should know besides, in words"},
    )


@says(
    kind="kind of record",
    id="id of the record",
    deleted="whether it is gone",
)
class ChangeSchema(Schema):
    """One record as it is now, or that it is gone."""

    kind = fields.String(
        required=True,
        validate=validate.OneOf(("site", "machine", "material", "stock", "program", "plan", "blade")),
    )
    id = fields.String(required=True)
    revision = fields.Integer(required=True)
    deleted = fields.Boolean(required=True)
    record = fields.Dict(required=True, allow_none=True)


@says(
    cursor="to be sent with the next question",
    more="whether there is more to be asked for at once",
    changes="records that changed since the cursor asked with",
)
class ChangesSchema(Schema):
    """A page of the change feed. Ask again with `cursor`, at once while `more` is true."""

    centre_epoch = fields.String(required=True)
    server_time = fields.String(required=True)
    cursor = fields.String(required=True)
    more = fields.Boolean(required=True)
    changes = fields.List(fields.Nested(ChangeSchema), required=True)
