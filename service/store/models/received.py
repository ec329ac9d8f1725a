"""What stations send and what persons say of it: entries, how far each chain is, discrepancies."""

from __future__ import annotations

from typing import Final

from peewee import SQL, AutoField, BigIntegerField, CompositeKey, IntegerField, TextField

from service.store.models.base import Base, JsonField, UtcDateTimeField


class Chain(Base):
    """How far the centre has the events of a station's epoch."""

    station = TextField()
    epoch = TextField()
    site = TextField()
    has_to_seq = BigIntegerField()
    last_hash = TextField()
    started_at = UtcDateTimeField()
    heard_at = UtcDateTimeField()
    clock_ahead_ms = BigIntegerField()

    class Meta:
        """Its table."""

        table_name = "chain"
        primary_key = CompositeKey("station", "epoch")


class Event(Base):
    """An event as it came in, and what became of it: applied, kept, quarantined or again.

    `document` is never changed; where a person put its payload right, `corrected_payload` counts. `pieces`
    of `step` of a plan were settled when it was applied. `came_as` is the event_id that it came under,
    where a person gave it one of its own; `withdrawn_by` the event by which its station took it back.

    `record_revision`: what the record of its stock item or blade became by it. `blade`, `blade_edge`: on
    which a cut was counted. `blade_before`: what the blade was before a turn.
    """

    id = AutoField()
    station = TextField()
    site = TextField()
    epoch = TextField()
    seq = BigIntegerField()
    event_id = TextField()
    type = TextField()
    document = JsonField()
    hash = TextField()
    received_at = UtcDateTimeField()
    clock_ahead_ms = BigIntegerField()
    corrected_at = UtcDateTimeField(null=True)
    day = TextField(null=True)
    state = TextField()
    errors = JsonField(null=True)
    corrected_payload = JsonField(null=True)
    machine = TextField(null=True)
    heat = TextField(null=True)
    dismissed_at = UtcDateTimeField(null=True)
    plan_id = TextField(null=True)
    step = BigIntegerField(null=True)
    pieces = BigIntegerField(null=True)
    came_as = TextField(null=True)
    withdrawn_by = TextField(null=True)
    record_revision = BigIntegerField(null=True)
    blade = TextField(null=True)
    blade_edge = IntegerField(null=True)
    blade_before = JsonField(null=True)

    class Meta:
        """Its table."""

        table_name = "event"


WAITS: Final = SQL("state IN ('kept', 'quarantined') AND dismissed_at IS NULL")
"""Which events wait to be applied, in the words of the index `event_waiting`."""

DISMISSED: Final = SQL("state IN ('kept', 'quarantined') AND dismissed_at IS NOT NULL")
"""Which events are not to be applied, in the words of the index `event_dismissed`."""


class Correction(Base):
    """What a person did about an event that was not applied: who, when, why, and what came of it."""

    id = AutoField()
    event = BigIntegerField()
    payload = JsonField(null=True)
    happened_at = TextField(null=True)
    words = TextField()
    made_by = TextField()
    made_at = UtcDateTimeField()
    outcome = TextField()

    class Meta:
        """Its table."""

        table_name = "correction"


class Discrepancy(Base):
    """What does not add up, for a person to settle.

    stock short: more was `taken` than was `on_the_books`; size differs: what was taken is not as the
    record has it, `differs` says in what; no record: `taken` were put back, and nothing has their name;
    counted since: `taken` (below nothing: stored) before the rack was counted, and told of afterwards;
    step over: more pieces of a step were cut than the plan has; maker missing: nothing was
    logged of `makers`, the steps that make its pieces; plan differs: an entry has another number of
    pieces for the step than the plan, or than others.

    `settled_how`: by a person, by its station, which withdrew what it was about, or by the service itself.
    """

    id = AutoField()
    event_id = TextField()
    kind = TextField()
    site = TextField()
    ref = TextField(null=True)
    material = TextField()
    taken = BigIntegerField(null=True)
    on_the_books = BigIntegerField(null=True)
    plan_id = TextField(null=True)
    step = BigIntegerField(null=True)
    pieces_cut = BigIntegerField(null=True)
    pieces_planned = BigIntegerField(null=True)
    differs = JsonField(null=True)
    makers = JsonField(null=True)
    noted_at = UtcDateTimeField()
    settled_at = UtcDateTimeField(null=True)
    settled_by = TextField(null=True)
    settled_how = TextField(null=True)
    words = TextField(null=True)
    counted = BigIntegerField(null=True)

    class Meta:
        """Its table."""

        table_name = "discrepancy"


class Pulled(Base):
    """When a station last asked for records, how far it had them, and how far its clock was ahead."""

    station = TextField(primary_key=True)
    site = TextField()
    heard_at = UtcDateTimeField()
    position = BigIntegerField()
    clock_ahead_ms = BigIntegerField(null=True)

    class Meta:
        """Its table."""

        table_name = "pulled"
