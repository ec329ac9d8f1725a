"""A step of the cut program on the wire: what is taken up, how it is gauged and set, what comes of it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from marshmallow import post_load

from schemas.fields import Choice, Inner, JsonBool, JsonInt, JsonNumber, Many, Millimetres, Record, Text
from schemas.findings import Findings
from schemas.words import says
from service.engine.plan import Outcome, Settings, Step


@says(
    gap="blade gap",
    rake_deg="rake, the slope between the blades",
    stroke="stroke of the blade",
    hold_down_kn="hold-down force to set, of all feet; null: not known",
    relief="whether the gauge backs off before the blade",
    sheet_support="whether the drop is carried",
)
class SettingsSchema(Record):
    """What the machine is set to."""

    makes = Settings
    gap = Millimetres(required=True, data_key="gap_mm", zero_ok=True)
    rake_deg = JsonNumber(required=True)
    stroke = Millimetres(required=True, data_key="stroke_mm")
    hold_down_kn = JsonNumber(required=True, allow_none=True)
    relief = JsonBool(required=True)
    sheet_support = JsonBool(required=True)
    findings = Findings()


@says(
    kind="what becomes of the pieces; scrap is what is left over, logged under the reason leftover",
    ref="name of the part, the piece or the offcut; null: it has none",
    count="how many",
)
class OutcomeSchema(Record):
    """Where pieces go after a cut."""

    makes = Outcome
    kind = Choice("part", "piece", "offcut", "scrap", "trim", required=True)
    ref = Text(required=True, allow_none=True)
    dx = Millimetres(required=True, data_key="length_mm")
    dy = Millimetres(required=True, data_key="width_mm")
    count = JsonInt(required=True)


@says(
    number="number of the step, from 1",
    layout="number of the layout",
    piece="name of the equal pieces that are taken up",
    pieces="how many of them go through the step",
    along_blade="size of one piece along the blade",
    depth="size of one piece in depth, before the first cut of the step",
    axis="direction of the sheet in which the depth lies",
    edge_end="which edge is measured from: the near or the far end of `axis`",
    edge_state="whether that edge is a mill edge or a cut one",
    turn="how the piece is turned against how it last lay at the blade",
    squared="whether a cut edge lies against the squaring arm",
    gauge="value to set: depth of the measured side",
    measured="which side has the measured size: the drop, or the remainder",
    repeat="cuts on each piece at this setting",
    gang="pieces side by side in one stroke",
    strokes="strokes of the whole step",
    settings="what to set for the longest stroke of the step",
    force_kn="force of the longest stroke of the step",
    rating_share="thickness that counts over the rated one, as a fraction",
    piece_kg="mass of a piece before the first cut",
    lift="who moves the piece",
    drops="where goes what falls behind the blade",
    remainders="where goes what stays in front",
)
class StepSchema(Record):
    """A step of the cut program."""

    makes = Step
    number = JsonInt(required=True, data_key="step")
    layout = JsonInt(required=True)
    piece = Text(required=True)
    pieces = JsonInt(required=True)
    along_blade = Millimetres(required=True, data_key="along_blade_mm")
    depth = Millimetres(required=True, data_key="depth_mm")
    axis = Choice("x", "y", required=True)
    edge_end = Choice("near", "far", required=True)
    edge_state = Choice("mill", "cut", required=True)
    turn = Choice("none", "quarter", "half", required=True)
    squared = JsonBool(required=True)
    gauging = Choice("back gauge", "front stop", "marked line", required=True)
    gauge = Millimetres(required=True, data_key="gauge_mm")
    measured = Choice("drop", "remainder", required=True)
    repeat = JsonInt(required=True)
    gang = JsonInt(required=True)
    strokes = JsonInt(required=True)
    settings = Inner(SettingsSchema, required=True)
    force_kn = JsonNumber(required=True)
    rating_share = JsonNumber(required=True)
    piece_kg = JsonNumber(required=True)
    lift = Choice("one person", "two people", "crane", required=True)
    drops = Many(Inner(OutcomeSchema), required=True, data_key="drop_to")
    remainders = Many(Inner(OutcomeSchema), required=True, data_key="remainder_to")
    findings = Findings()

    @post_load
    def _make(self, data: Mapping[str, Any], **kwargs: Any) -> Step:
        return Step(**{**data, "drops": tuple(data["drops"]), "remainders": tuple(data["remainders"])})
