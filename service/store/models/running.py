"""What the service needs from one request, or one process, to the next: tokens, answers, jobs."""

from __future__ import annotations

from peewee import AutoField, IntegerField, TextField

from service.store.models.base import Base, JsonField, UtcDateTimeField


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
