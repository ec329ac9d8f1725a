"""Answers kept under an Idempotency-Key, so that a request sent twice is done once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final, TypeVar

from service.store.database import database
from service.store.models import KeptAnswer
from service.store.records import lock_writes

KEPT_FOR: Final = timedelta(days=30)
"""How long an answer is kept: middleware may send again after a long weekend."""

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Kept:
    """An answer, and the hash of the request that it answered."""

    request_hash: str
    status: int
    headers: dict[str, str]
    document: Any


def once(
    token: str,
    key: str,
    *,
    found: Callable[[Kept], T],
    made: Callable[[], tuple[Kept, T]],
    now: datetime,
    locked: bool = True,
) -> T:
    """Answer from what was kept, or do the work and keep its answer, in one transaction with its effect.

    Two requests with one key wait for each other; when the work raises, nothing is kept. Work that
    takes long and comes to the same when done twice is done before the transaction (`locked` False).
    """
    before = _find(token, key)
    if before is not None:
        return found(before)
    ready = None if locked else made()
    with database.atomic():
        lock_writes()
        before = _find(token, key)
        if before is not None:
            return found(before)
        kept, answer = made() if ready is None else ready
        KeptAnswer.delete().where(KeptAnswer.kept_at < now - KEPT_FOR).execute()
        KeptAnswer.insert(
            token=token,
            key=key,
            request_hash=kept.request_hash,
            status=kept.status,
            headers=kept.headers,
            document=kept.document,
            kept_at=now,
        ).execute()
    return answer


def forget(now: datetime) -> int:
    """Forget the answers that were kept long enough; how many there were."""
    old = KeptAnswer.delete().where(KeptAnswer.kept_at < now - KEPT_FOR)
    return int(old.execute())


def _find(token: str, key: str) -> Kept | None:
    row = KeptAnswer.get_or_none((KeptAnswer.token == token) & (KeptAnswer.key == key))
    return None if row is None else Kept(row.request_hash, row.status, row.headers, row.document)
