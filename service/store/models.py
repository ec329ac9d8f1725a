"""The tables. They are made by the migrations, never from these classes."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any, Final

from peewee import (
    SQL,
    AutoField,
    BigIntegerField,
    BooleanField,
    CompositeKey,
    Field,
    IntegerField,
    Model,
    TextField,
)

from service.store.database import database


class UtcDateTimeField(Field):
    """An aware time, kept in UTC: text of fixed width on SQLite, ``timestamptz`` on PostgreSQL."""

    field_type = "TEXT"

    def db_value(self, value: datetime | None) -> str | None:
        """Write a time; a naive one is refused, as nobody knows what it means."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a time with its offset is wanted")
        in_utc = value if value.tzinfo is UTC else value.astimezone(UTC)
        return in_utc.isoformat(timespec="microseconds")

    def python_value(self, value: str | datetime | None) -> datetime | None:
        """Read a time."""
        if value is None:
            return None
        moment = datetime.fromisoformat(value) if isinstance(value, str) else value
        return moment.astimezone(UTC)


class Written(str):
    """A JSON document that was written as text already, as :class:`JsonField` would."""

    __slots__ = ()


class JsonField(TextField):
    """A JSON document as text in ASCII, so that every string of JSON can be kept on both databases."""

    def db_value(self, value: Any) -> str | None:
        """Write a document."""
        if value is None or isinstance(value, Written):
            return value
        return json.dumps(value, separators=(",", ":"), sort_keys=True, allow_nan=False)

    def python_value(self, value: str | None) -> Any:
        """Read a document."""
        return None if value is None else json.loads(value)


class Base(Model):
    """Bound to the database of the process."""

    class Meta:
        """One database."""

        database = database


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


class Tally(Base):
    """A day's sums in whole small units, so that they add up exactly."""

    id = AutoField()
    site = TextField()
    machine = TextField()
    material = TextField()
    thickness = IntegerField()
    reason = TextField()
    day = TextField()
    events = BigIntegerField()
    parts = BigIntegerField()
    parts_mg = BigIntegerField()
    parts_timed = BigIntegerField()
    scrap_pieces = BigIntegerField()
    scrap_mg = BigIntegerField()
    taken_pieces = BigIntegerField()
    taken_mg = BigIntegerField()
    offcut_pieces = BigIntegerField()
    offcut_mg = BigIntegerField()
    strokes = BigIntegerField()
    cut_hundredths = BigIntegerField()
    equivalent_mm = BigIntegerField()
    milliseconds = BigIntegerField()

    class Meta:
        """Its table."""

        table_name = "tally"


class MonthTally(Tally):
    """A month's sums; `day` is the month, as 2026-03."""

    class Meta:
        """Its table."""

        table_name = "tally_of_month"


class MachineTally(Tally):
    """A day's sums of a machine, whatever it cut: material, thickness and reason are empty."""

    class Meta:
        """Its table."""

        table_name = "tally_of_machine"


class StepCut(Base):
    """Pieces of a step of a plan that were cut, over all stations, beside those that the plan has.

    `made_by`: the steps that make its pieces. `by_plan`: both are from the plan, not from what was logged.
    """

    plan_id = TextField()
    step = BigIntegerField()
    pieces = BigIntegerField()
    planned = BigIntegerField(null=True)
    made_by = JsonField(null=True)
    by_plan = BooleanField()

    class Meta:
        """Its table."""

        table_name = "step_cut"
        primary_key = CompositeKey("plan_id", "step")


class CutSum(Base):
    """What was cut alike on a machine within an hour: events, strokes, and millimetres of the rated plate.

    `hour` counts from 1970 in UTC. `edge` 0: with the edge at work. Place and sizes in hundredths of a
    millimetre.
    """

    machine = TextField()
    hour = IntegerField()
    edge = IntegerField()
    material = TextField()
    thickness = BigIntegerField()
    start_at = BigIntegerField()
    cut_length = BigIntegerField()
    events = BigIntegerField()
    strokes = BigIntegerField()
    equivalent_mm = BigIntegerField()

    class Meta:
        """Its table."""

        table_name = "cut_sum"
        primary_key = CompositeKey(
            "machine", "hour", "edge", "material", "thickness", "start_at", "cut_length"
        )


class BladeSet(Base):
    """That a blade was set to something other than by cuts and turns, after all of a revision.

    `before` None: it was begun, or entered anew; nothing of before counts for it.
    """

    id = AutoField()
    blade = TextField()
    revision = BigIntegerField()
    before = JsonField(null=True)
    after = JsonField()

    class Meta:
        """Its table."""

        table_name = "blade_set"


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


class Token(Base):
    """A bearer token; only the hash of its secret is kept."""

    id = TextField(primary_key=True)
    secret_hash = TextField()
    name = TextField()
    scopes = JsonField()
    site = TextField(null=True)
    station = TextField(null=True)
    created_at = UtcDateTimeField()
    expires_at = UtcDateTimeField(null=True)
    revoked_at = UtcDateTimeField(null=True)
    last_used_at = UtcDateTimeField(null=True)

    class Meta:
        """Its table."""

        table_name = "token"


class KeptAnswer(Base):
    """The answer to a request that carried an Idempotency-Key."""

    id = AutoField()
    token = TextField()
    key = TextField()
    request_hash = TextField()
    status = IntegerField()
    headers = JsonField()
    document = JsonField()
    kept_at = UtcDateTimeField()

    class Meta:
        """Its table."""

        table_name = "kept_answer"


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


class Job(Base):
    """The last run of a job, and when it last came to its end."""

    name = TextField(primary_key=True)
    started_at = UtcDateTimeField()
    ended_at = UtcDateTimeField(null=True)
    outcome = TextField(null=True)
    words = TextField(null=True)
    done_at = UtcDateTimeField(null=True)

    class Meta:
        """Its table."""

        table_name = "job"


class Lease(Base):
    """Which process runs the jobs, and until when it need not say so again."""

    name = TextField(primary_key=True)
    holder = TextField()
    held_to = UtcDateTimeField()

    class Meta:
        """Its table."""

        table_name = "lease"


TABLES: tuple[type[Base], ...] = (
    Centre,
    Record,
    Departure,
    Chain,
    Event,
    Correction,
    Tally,
    MonthTally,
    MachineTally,
    StepCut,
    CutSum,
    BladeSet,
    Discrepancy,
    Token,
    KeptAnswer,
    Version,
    Pulled,
    Job,
    Lease,
)
