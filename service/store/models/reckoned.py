"""What is added up from entries, and what an audit counts anew: sums, pieces of steps, uses of blades."""

from __future__ import annotations

from peewee import AutoField, BigIntegerField, BooleanField, CompositeKey, IntegerField, TextField

from service.store.models.base import Base, JsonField


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
