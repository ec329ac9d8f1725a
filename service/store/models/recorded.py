"""The records of the shop, which go down to the stations by the feed, and what they were before."""

from __future__ import annotations

from peewee import AutoField, BigIntegerField, BooleanField, CompositeKey, IntegerField, TextField

from service.store.models.base import Base, JsonField, UtcDateTimeField


class Centre(Base):
    """The one row about the centre itself.

    Its epoch, the last feed position that was given, and the last one of a deletion that is forgotten.
    """

    id = IntegerField(primary_key=True)
    epoch = TextField()
    position = BigIntegerField()
    horizon = BigIntegerField(default=0)

    class Meta:
        """Its table."""

        table_name = "centre"


class Record(Base):
    """A record that goes down to the stations, as the wire has it.

    `by_hand`: the revision by which the pieces of a stock item were last counted, or set by hand;
    `counted_at` when that was, unless it was when the item was entered.
    """

    kind = TextField()
    key = TextField()
    site = TextField(null=True)
    revision = IntegerField()
    position = BigIntegerField()
    deleted = BooleanField()
    document = JsonField()
    changed_at = UtcDateTimeField()
    changed_by = TextField()
    run_from = IntegerField()
    by_hand = IntegerField(null=True)
    counted_at = UtcDateTimeField(null=True)

    class Meta:
        """Its table."""

        table_name = "record"
        primary_key = CompositeKey("kind", "key")


class Departure(Base):
    """That a record is no longer seen at a site (None: at any other than its new one)."""

    id = AutoField()
    kind = TextField()
    key = TextField()
    site = TextField(null=True)
    revision = IntegerField()
    position = BigIntegerField()
    moved_at = UtcDateTimeField(null=True)

    class Meta:
        """Its table."""

        table_name = "departure"


class Version(Base):
    """A revision of a machine profile or program that stood once, or a stale write that never stood."""

    id = AutoField()
    kind = TextField()
    key = TextField()
    revision = IntegerField()
    document = JsonField()
    written_by = TextField()
    written_at = UtcDateTimeField()
    stale = BooleanField()

    class Meta:
        """Its table."""

        table_name = "version"
