"""A remark on the wire: what is said beside an answer, a step or a plan."""

from __future__ import annotations

from typing import Any

from schemas.fields import Choice, Inner, Many, Record, Text
from schemas.words import says
from service.engine.findings import Finding


@says(
    code="short stable word for programs, such as force-over-limit",
)
class FindingSchema(Record):
    """A remark: ``stop``, ``caution`` or ``note``, with its basis."""

    makes = Finding
    level = Choice("stop", "caution", "note", required=True)
    code = Text(required=True)
    message = Text(required=True, most=2000)
    basis = Text(required=True, most=2000)


class Findings(Many):
    """A list of remarks, read as a tuple."""

    def __init__(self) -> None:
        super().__init__(Inner(FindingSchema), required=True, most=1000)

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        return tuple(super()._deserialize(value, attr, data, **kwargs))
