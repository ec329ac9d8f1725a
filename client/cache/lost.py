"""Entries that this store once had, or that the centre has, and that are not here.

They are known by epoch and number: from the mark beside the store when the store went back or is gone,
and from the centre when it has more of this station than the store. What is known is kept in the
store, and told, until a person says that it was seen.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
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
        Whether the mark, or the store itself, told how far the numbers went. Otherwise only the centre
        did, and what was never sent to it has numbers that nobody knows.
    whole
        Whether the store has nothing of the epoch and only the centre told of it: the folder was put back
        to before it, or is a new one.
    closed
        Whether it is known that these are all, as when what follows them is here.
    old
        Whether they may have been dropped as old ones are, and then the centre has them.
    seen
        Whether a person said that it was seen to.
    row
        The number in the log that the first of them had; None where nothing tells.
    """

    epoch: str
    first: int
    last: int
    has: int | None = None
    by_mark: bool = True
    whole: bool = False
    closed: bool = False
    old: bool = False
    seen: bool = False
    row: int | None = None


def known_losses(sql: Sqlite) -> list[Lost]:
    """All that is known to be lost here."""
    return [Lost(**one) for one in json.loads(sql.meta(_KEY) or "[]")]


def losses(sql: Sqlite) -> list[Lost]:
    """What is known to be lost here, and to be told to persons until they have seen it."""
    return [one for one in known_losses(sql) if not one.seen and not _dropped(one)]


def note_lost(sql: Sqlite, lost: Iterable[Lost]) -> None:
    """Keep losses, each once; inside the transaction of the caller."""
    known = known_losses(sql)
    places = {(one.epoch, one.first, one.last) for one in known}
    _keep(sql, [*known, *(one for one in lost if (one.epoch, one.first, one.last) not in places)])


def losses_seen(sql: Sqlite) -> int:
    """Tell no longer of the losses of which the centre was asked; how many."""
    known = known_losses(sql)
    named = [one for one in known if one.has is not None and not one.seen]
    _keep(sql, [replace(one, seen=one.seen or one in named) for one in known])
    return len(named)


def found_again(sql: Sqlite, here: Callable[[str, int], bool]) -> None:
    """Forget losses of which every number is here by now; inside the transaction of the caller."""
    known = known_losses(sql)
    still = [one for one in known if not all(here(one.epoch, seq) for seq in range(one.first, one.last + 1))]
    if len(still) < len(known):
        _keep(sql, still)


def name_lost(sql: Sqlite, epoch: str, here_to: int | None, has: int) -> list[Lost]:
    """Hold what the centre has of an epoch against what is here; the losses of which it tells more.

    Parameters
    ----------
    sql
        The store, in a transaction of the caller.
    epoch
        The epoch.
    here_to
        Up to which number this store has the entries that the centre has; None: it has no such epoch.
    has
        Up to which number the centre has it.
    """
    known = known_losses(sql)
    of_epoch = [one for one in known if one.epoch == epoch]
    if not any(not one.closed for one in of_epoch) and has > _end(of_epoch, here_to or 0):
        first = _end(of_epoch, here_to or 0) + 1
        of_epoch.append(Lost(epoch, first, has, by_mark=False, whole=here_to is None and not of_epoch))
        known.append(of_epoch[-1])
    told = {
        one: replace(one, has=has, last=one.last if one.closed else max(one.last, has), seen=False)
        for one in of_epoch
        if one.has is None or one.has < (min(has, one.last) if one.closed else has)
    }
    # A store of the same name that goes on elsewhere would be told of at every sync.
    quiet = [one for one in told if one.whole and one.has is not None]
    for one in quiet:
        told[one] = replace(told[one], seen=one.seen)
    if told:
        _keep(sql, [told.get(one, one) for one in known])
    return [new for old, new in told.items() if old not in quiet and not _dropped(new)]


def _end(of_epoch: Iterable[Lost], here_to: int) -> int:
    """Up to which number an epoch is here, or known to be lost by numbers."""
    return max(here_to, *(one.last for one in of_epoch if one.closed), 0)


def _dropped(one: Lost) -> bool:
    return one.old and one.has is not None and one.has >= one.last


def lost_words(lost: Lost) -> str:
    """What is lost, in words for the person whose work it was.

    >>> lost_words(Lost("01c046e3", 7, 8, row=17))
    'entries 17 to 18 of this station may be missing here; the next shearwright sync asks the centre for them'
    """

    def named(first: int, last: int) -> str:
        if lost.row is None:
            return sent_as(lost.epoch, first, last)
        return runs(lost.row + first - lost.first, lost.row + last - lost.first)

    if lost.has is None:
        old = ", unless they were dropped as old ones are" if lost.old else ""
        return (
            f"{named(lost.first, lost.last)} of this station may be missing here{old}; "
            f"the next shearwright sync asks the centre for {'it' if lost.first == lost.last else 'them'}"
        )
    there = named(lost.first, min(lost.has, lost.last))
    if lost.whole:
        return (
            f"the centre has {there} of this station, which another store wrote: this folder was put back to "
            "before them, or is a new one; what was written down in that store and not sent is only there: "
            "bring it over with shearwright salvage FILE, or write it down again"
        )
    there_it = "it" if lost.first == min(lost.has, lost.last) else "them"
    said = []
    if there:
        said.append(
            f"the centre has {there} of this station, and this store lacks {there_it}: "
            f"do not write {there_it} down again"
        )
    gone = named(max(lost.first, lost.has + 1), lost.last)
    if gone:
        gone_it = "it" if max(lost.first, lost.has + 1) == lost.last else "them"
        said.append(f"neither here nor at the centre: {gone} of this station; write {gone_it} down again")
    elif lost.closed:
        said.append("that is all of them")
    elif lost.by_mark:
        said.append("as far as the mark beside the store tells, that is all of them")
    else:
        said.append("what else was written down here and never sent is gone: write it down again")
    return "; ".join(said)


def sent_as(epoch: str, first: int, last: int) -> str:
    """Numbers by which entries are sent, which are not those of the log; nothing where there are none.

    >>> sent_as("01c046e3-9e13-4ea4-84c8-5457bafe9dc4", 3, 3), sent_as("01c046e3", 17, 18)
    ('number 3 of epoch 01c046e3', 'numbers 17 to 18 of epoch 01c046e3')
    """
    if first > last:
        return ""
    which = f"number {first}" if first == last else f"numbers {first} to {last}"
    return f"{which} of epoch {epoch[:8]}"


def runs(first: int, last: int) -> str:
    """Numbers of the log as people write them; nothing where there are none.

    >>> runs(3, 3), runs(17, 18), runs(2, 1)
    ('entry 3', 'entries 17 to 18', '')
    """
    if first > last:
        return ""
    return f"entry {first}" if first == last else f"entries {first} to {last}"


def _keep(sql: Sqlite, known: Iterable[Lost]) -> None:
    kept = [asdict(one) for one in known]
    sql.set_meta(_KEY, json.dumps(kept) if kept else None)
