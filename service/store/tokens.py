"""Bearer tokens: made once, shown once, kept as a hash."""

from __future__ import annotations

import hashlib
import json
import secrets
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

from service.store.database import ask
from service.store.models import Token

PREFIX: Final = "shw_"
"""By which a token can be told from other secrets, in a log or in a file that it strayed into."""

_NOTED_AGAIN_AFTER: Final = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class Caller:
    """Who asks: the token's id, what it may do, and the station it is bound to."""

    token: str
    name: str
    scopes: frozenset[str]
    site: str | None
    station: str | None


def make(
    name: str,
    scopes: Iterable[str],
    *,
    now: datetime,
    site: str | None = None,
    station: str | None = None,
    expires_at: datetime | None = None,
) -> tuple[Any, str]:
    """Make a token; the row, and its secret, which is not kept."""
    secret = PREFIX + secrets.token_urlsafe(32)
    row = Token.create(
        id=secrets.token_hex(8),
        secret_hash=_hash(secret),
        name=name,
        scopes=sorted(set(scopes)),
        site=site,
        station=station,
        created_at=now,
        expires_at=expires_at,
    )
    return row, secret


def caller(secret: str, now: datetime) -> Caller | None:
    """Who holds this secret; None when it is unknown, expired or revoked."""
    rows = ask(_HELD_BY, _hash(secret))
    if not rows:
        return None
    token, name, scopes, site, station, *moments = rows[0]
    expires_at, revoked_at, last_used_at = map(Token.expires_at.python_value, moments)
    if revoked_at is not None or (expires_at is not None and expires_at <= now):
        return None
    if last_used_at is None or now - last_used_at > _NOTED_AGAIN_AFTER:
        Token.update(last_used_at=now).where(Token.id == token).execute()
    return Caller(token, name, frozenset(json.loads(scopes)), site, station)


_HELD_BY: Final = (
    "SELECT id, name, scopes, site, station, expires_at, revoked_at, last_used_at"
    " FROM token WHERE secret_hash = %s"
)


def revoke(token: str, now: datetime) -> bool:
    """End a token; False when there is none of that id. A second time changes nothing."""
    if Token.get_or_none(Token.id == token) is None:
        return False
    Token.update(revoked_at=now).where(Token.id == token, Token.revoked_at.is_null()).execute()
    return True


def listed(after: str, limit: int) -> list[Any]:
    """Tokens in the order of their ids."""
    return list(Token.select().where(Token.id > after).order_by(Token.id).limit(limit))


def _hash(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()
