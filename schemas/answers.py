"""Answers of the service that are not records, plans or checks: lists, stations, quarantine, reports."""

from __future__ import annotations

from marshmallow import Schema, fields, validate

from schemas.fields import Choice, Document, JsonInt, Text, between
from schemas.findings import FindingSchema
from schemas.problems import FieldErrorSchema
from schemas.words import says

MOST_LISTED = 500
DIMENSIONS = ("site", "machine", "material", "thickness_band", "reason", "day", "week", "month")


@says()
class PageQuerySchema(Document):
    """Which page of a list."""

    cursor = Text(load_default=None, metadata={"description": "`next` of the page before"})
    limit = JsonInt(load_default=100, validate=between(1, MOST_LISTED))


@says(
    live="always true: the process answers",
)
class LiveSchema(Schema):
    """The process answers."""

    live = fields.Boolean(required=True)


@says(
    ready="whether requests can be served",
    database="how the database stands, in words",
    engine_version="version of the engine that plans here",
)
class ReadySchema(Schema):
    """The database answers and is up to date."""

    ready = fields.Boolean(required=True)
    database = fields.String(required=True)
    engine_version = fields.String(required=True)
    jobs_overdue = fields.List(
        fields.String(), required=True, metadata={"description": "jobs that were not done for too long"}
    )
    jobs_to_look_at = fields.List(
        fields.String(),
        required=True,
        metadata={"description": "jobs that failed, or found what a person must look at"},
    )


@says(
    name="name of the job",
    started_at="when it last began; null: never",
    ended_at="when it last ended; null: never, or it runs",
    outcome="how it last ended; attention: a person must look",
    words="what it found, in words",
    due_at="when it is due next",
    overdue="whether it was not done for too long",
)
class StandingSchema(Schema):
    """How a job of the service stands."""

    name = fields.String(required=True)
    says = fields.String(required=True, metadata={"description": "what it does"})
    started_at = fields.AwareDateTime(required=True, allow_none=True)
    ended_at = fields.AwareDateTime(required=True, allow_none=True)
    outcome = fields.String(
        required=True,
        allow_none=True,
        validate=validate.OneOf(("done", "attention", "failed")),
    )
    words = fields.String(required=True, allow_none=True)
    due_at = fields.AwareDateTime(required=True, allow_none=True)
    overdue = fields.Boolean(required=True)


@says(
    jobs="the jobs, each with how it stands",
)
class ScheduleSchema(Schema):
    """What the service does by itself."""

    jobs = fields.List(fields.Nested(StandingSchema), required=True)


@says(
    heard_at="when the station last sent events of it, by the centre's clock",
)
class EpochReachedSchema(Schema):
    """How far the centre has one epoch of a station."""

    epoch = fields.String(required=True)
    has_to_seq = fields.Integer(required=True)
    last_hash = fields.String(required=True)
    heard_at = fields.AwareDateTime(required=True)
    clock_ahead_ms = fields.Integer(
        required=True, metadata={"description": "the station's clock less the centre's, when it last sent"}
    )


@says(
    heard_at="by the centre's clock",
)
class LastPullSchema(Schema):
    """When a station last asked for records, and what its clock showed then."""

    heard_at = fields.AwareDateTime(required=True)
    clock_ahead_ms = fields.Integer(
        required=True,
        allow_none=True,
        metadata={
            "description": "the station's clock less the centre's, by the header Date of its pulls, "
            "to a second; null: no pull had one"
        },
    )


@says(
    state="kept: of a type not known yet; quarantined: a person must look",
    errors="why it is not applied",
)
class WaitingEventSchema(Schema):
    """An event of a station that is not applied, and why."""

    epoch = fields.String(required=True)
    seq = fields.Integer(required=True)
    state = fields.String(required=True, validate=validate.OneOf(("kept", "quarantined")))
    errors = fields.List(fields.Nested(FieldErrorSchema), required=True)


@says(
    kind="corrected or dismissed: the event, which had not been applied; settled: what did not add up",
    number="number of the correction, or of the discrepancy",
    by="who decided",
    at="when, by the centre's clock",
    outcome="what came of it: the state of the event after a correction",
    about="what did not add up, in words; null: it is about the event itself",
    counted="pieces counted on the rack with it; null: none were",
)
class DecisionSchema(Schema):
    """What a person at the centre decided about an event of a station, and why."""

    kind = fields.String(required=True, validate=validate.OneOf(("corrected", "dismissed", "settled")))
    number = fields.Integer(required=True)
    epoch = fields.String(required=True)
    seq = fields.Integer(required=True)
    words = fields.String(required=True)
    by = fields.String(required=True)
    at = fields.AwareDateTime(required=True)
    outcome = fields.String(required=True)
    about = fields.String(required=True, allow_none=True)
    counted = fields.Integer(required=True, allow_none=True)


@says(
    epochs="every epoch that the centre knows of the station",
    site="site of the token that asks; null: it is not the token of a station",
)
class StationSchema(Schema):
    """How far the centre has a station's events: of the epoch asked for, or of the one begun last."""

    centre_epoch = fields.String(required=True)
    server_time = fields.String(required=True)
    station = fields.String(required=True)
    site = fields.String(required=True, allow_none=True)
    epoch = fields.String(required=True, allow_none=True)
    has_to_seq = fields.Integer(required=True)
    last_hash = fields.String(required=True)
    epochs = fields.List(fields.Nested(EpochReachedSchema), required=True)
    pulled = fields.Nested(
        LastPullSchema,
        required=True,
        allow_none=True,
        metadata={"description": "null: it never pulled"},
    )
    waiting = fields.List(
        fields.Nested(WaitingEventSchema),
        required=True,
        metadata={"description": "what is not applied yet; every other event up to has_to_seq is settled"},
    )
    waiting_more = fields.Boolean(
        required=True, metadata={"description": "whether more wait than are listed here"}
    )
    decided = fields.List(
        fields.Nested(DecisionSchema),
        required=True,
        metadata={
            "description": "what persons decided about its events in the last 90 days, the newest 200, "
            "newest first"
        },
    )
    payloads_version = fields.Integer(
        required=True,
        metadata={"description": "of the types of events and their fields that the centre knows"},
    )


@says(
    id="id of the plan",
    summary="the plan in figures, as in the plan itself",
)
class PlanEntrySchema(Schema):
    """A plan in a list."""

    id = fields.String(required=True)
    order_ref = fields.String(required=True)
    machine_id = fields.String(required=True)
    summary = fields.Dict(required=True)


@says(
    to_day="last day of the report, for example 2026-03-31",
    site="only this site, by its id",
    machine="only this machine, by its id",
    material="only this grade",
    format="json or csv; left out: by the header Accept",
)
class ReportQuerySchema(Document):
    """What a report is sorted by, and its days, both included, by the clock of each site."""

    by = Text(load_default="site", metadata={"description": "a list with commas of " + ", ".join(DIMENSIONS)})
    from_day = Text(load_default=None, data_key="from", metadata={"description": "for example 2026-03-01"})
    to_day = Text(load_default=None, data_key="to")
    site = Text(load_default=None)
    machine = Text(load_default=None)
    material = Text(load_default=None)
    format = Choice("json", "csv", load_default=None, allow_none=True)


@says(
    report="name of the report",
    by="what it is sorted by",
)
class ReportSchema(Schema):
    """A report: rows of what it is sorted by, and figures."""

    report = fields.String(required=True)
    by = fields.List(fields.String(), required=True)
    rows = fields.List(
        fields.Dict(),
        required=True,
        metadata={
            "description": "a yield row has a remark when more came out than was taken, or more parts were "
            "spoiled than made (its yield is then null), else null. In a row of throughput, parts are those "
            "made less those spoiled later, with a remark where that is below nothing; parts_timed and "
            "parts_per_hour count the parts that came off in cuts whose time was written down, spoiled "
            "later or not; parts_per_hour is null when none did"
        },
    )
    unapplied_events = fields.Integer(
        required=True,
        metadata={
            "description": "events in quarantine or of an unknown type, which no figure contains: those of "
            "the site and days asked for, whatever their machine or grade, and those whose day is not known"
        },
    )


def with_findings(item: type[Schema]) -> type[Schema]:
    """The schema of such an item as it was kept, with what is to be said of it as `findings`."""
    made: type[Schema] = type(
        f"{item.__name__.removesuffix('Schema')}KeptSchema",
        (item,),
        {
            "__doc__": f"{item.__doc__}\n\n`findings`: what is unusual; it was kept all the same.",
            "findings": fields.List(
                fields.Nested(FindingSchema),
                dump_only=True,
                required=True,
                metadata={"description": "what is unusual; it was kept all the same"},
            ),
        },
    )
    return made


def page_of(item: type[Schema]) -> type[Schema]:
    """The schema of a page of such items; without `next` it is the last one."""
    name = item.__name__.removesuffix("Schema")
    made: type[Schema] = Schema.from_dict(
        {
            "items": fields.List(
                fields.Nested(item), required=True, metadata={"description": "the entries of this page"}
            ),
            "next": fields.String(metadata={"description": "cursor of the next page"}),
        },
        name=f"{name}PageSchema",
    )
    return made
