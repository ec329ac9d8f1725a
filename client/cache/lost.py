"""Entries that this store once had, or that the centre has, and that are not here.

They are known by epoch and number: from the mark beside the store when the store went back or is gone,
and from the centre when it has more of this station than the store. What is known is kept in the
store, and told, until a person says that it was seen.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import asdict, dataclass, replace
from typing import Final

from client.cache.sqlite import Sqlite

_KEY: Final = "lost"


@dataclass(frozen=True, slots=True)
class Lost:
    """Entries of an epoch that are not in this store.

    Attributes
    ----------
    epoch
        Their epoch.
    first, last
        Their numbers, from and to.
    has
        Up to which number the centre has the epoch; None until it was asked.
    by_mark
        Whether the mark told how far the numbers went. Otherwise only the centre did, and what was
        never sent to it has numbers that nobody knows.
    """

    epoch: str
    first: int
    last: int
    has: int | None = None
    by_mark: bool = True


def losses(sql: Sqlite) -> list[Lost]:
    """What is known to be lost here and was not seen by a person yet."""
    return [Lost(**one) for one in json.loads(sql.meta(_KEY) or "[]")]


def note_lost(sql: Sqlite, lost: Lost) -> None:
    """Keep a loss; inside the transaction of the caller."""
    _keep(sql, [*losses(sql), lost])


def forget_named(sql: Sqlite) -> int:
    """Forget the losses of which the centre was asked; how many. The others are still to be asked for."""
    known = losses(sql)
    left = [one for one in known if one.has is None]
    _keep(sql, left)
    return len(known) - len(left)


def name_lost(sql: Sqlite, epoch: str, here_to: int, has: int) -> list[Lost]:
    """Hold what the centre has of an epoch against what is here; the losses of which it tells more.

    Parameters
    ----------
    sql
        The store, in a transaction of the caller.
    epoch
        The epoch.
    here_to
        Up to which number this store has the entries that the centre has.
    has
        Up to which number the centre has it.
    """
    known = losses(sql)
    of_epoch = [one for one in known if one.epoch == epoch]
    if not of_epoch and has > here_to:
        of_epoch = [Lost(epoch, here_to + 1, has, by_mark=False)]
        known += of_epoch
    told = {
        one: replace(one, has=has, last=max(one.last, has))
        for one in of_epoch
        if one.has is None or one.has < has
    }
    if told:
        _keep(sql, [told.get(one, one) for one in known])
    return list(told.values())


def lost_words(lost: Lost) -> str:
    """What is lost, in words for the person whose work it was.

    >>> lost_words(Lost("e1", 17, 18))
    'entries 17 to 18 of this station may be missing here; the next shearwright sync asks the centre for them'
    """
    if lost.has is None:
        return (
            f"{runs(lost.first, lost.last)} of this station may be missing here; "
            "the next shearwright sync asks the centre for them"
        )
    there = runs(lost.first, min(lost.has, lost.last))
    said = [f"the centre has {there} of this station, and this store lacks them"] if there else []
    gone = runs(max(lost.first, lost.has + 1), lost.last)
    if gone:
        said.append(f"neither here nor at the centre: {gone} of this station; write them down again")
    elif lost.by_mark:
        said.append("as far as the mark beside the store tells, that is all of them")
    else:
        said.append("what was written down here and was not sent before is gone too: write it down again")
    return "; ".join(said)


def runs(first: int, last: int) -> str:
    """Numbers of entries as people write them; nothing where there are none.

    >>> runs(3, 3), runs(17, 18), runs(2, 1)
    ('entry 3', 'entries 17 to 18', '')
    """
    if first > last:
        return ""
    return f"entry {first}" if first == last else f"entries {first} to {last}"


def _keep(sql: Sqlite, known: Iterable[Lost]) -> None:
    kept = [asdict(one) for one in known]
    sql.set_meta(_KEY, json.dumps(kept) if kept else None)
