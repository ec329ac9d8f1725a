"""Tokens: who may do what."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from marshmallow import Schema, ValidationError, fields, validates_schema

from schemas.events import Moment
from schemas.fields import Choice, Document, Many, Name, Text
from schemas.words import says

SCOPES: Final = ("plan", "station", "report", "admin")


@says(
    name="what the token is for",
    site="id of the site; with the scope station only",
    station="name of the workstation; with the scope station only",
)
class TokenRequestSchema(Document):
    """A new token. A station's token is bound to one site and one station."""

    name = Text(required=True, most=60)
    scopes = Many(Choice(*SCOPES), required=True, least=1, most=4)
    site = Name(load_default=None, allow_none=True)
    station = Name(load_default=None, allow_none=True)
    expires_at = Moment(load_default=None, allow_none=True)

    @validates_schema
    def _bound(self, data: Mapping[str, Any], **kwargs: Any) -> None:
        bound = data["site"] is not None and data["station"] is not None
        if "station" in data["scopes"] and not bound:
            raise ValidationError("the scope station wants a site and a station", "scopes")
        if "station" in data["scopes"] and len(set(data["scopes"])) > 1:
            raise ValidationError("the scope station stands alone", "scopes")
        if "station" not in data["scopes"] and (data["site"] is not None or data["station"] is not None):
            raise ValidationError("site and station go with the scope station only", "scopes")


@says(
    id="id of the token, by which it is revoked",
    name="what the token is for",
    site="id of the site; null: it is no station's",
    station="name of the workstation; null: it is no station's",
    created_at="when it was made",
    revoked_at="when it was revoked; null: it is not",
    last_used_at="when it was last used; null: never",
)
class TokenSchema(Schema):
    """A token without its secret."""

    id = fields.String(required=True)
    name = fields.String(required=True)
    scopes = fields.List(fields.String(), required=True)
    site = fields.String(required=True, allow_none=True)
    station = fields.String(required=True, allow_none=True)
    created_at = fields.AwareDateTime(required=True)
    expires_at = fields.AwareDateTime(required=True, allow_none=True)
    revoked_at = fields.AwareDateTime(required=True, allow_none=True)
    last_used_at = fields.AwareDateTime(required=True, allow_none=True)


class NewTokenSchema(TokenSchema):
    """A token with its secret, which is shown this once and kept as a hash only."""

    secret = fields.String(required=True, metadata={"description": "the token itself, shown this once"})
