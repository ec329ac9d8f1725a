"""Epochs that begin because a test says so."""

from client.cache.outbox import Outbox


def new_epoch(outbox: Outbox) -> None:
    """Begin a new epoch, as a store that was put back does when it is opened."""
    with outbox.home.writing():
        with outbox.sql.transaction():
            outbox.begin_epoch("for the test")
        outbox.write_mark()
