"""Programs written by hand: lists of gauge steps that the shop keeps and changes."""

from __future__ import annotations

from schemas.fields import Document, Inner, Many, Millimetres, Text, addressable
from schemas.payloads import GaugeStepSchema
from schemas.words import says


@says(
    id="id of the program",
    name="name of the program",
    copy_of="id of the program that it is a copy of; null: it is no copy",
)
class ProgramSchema(Document):
    """A list of gauge steps for one machine, material and thickness.

    ``copy_of`` marks the visible copy that is made when a change was based on an older revision
    than the one that stood: both are kept, and a person decides.
    """

    id = Text(required=True, most=120, also=addressable)
    name = Text(required=True)
    machine = Text(required=True, most=60)
    material = Text(required=True, most=60)
    thickness = Millimetres(required=True, data_key="thickness_mm")
    cut_length = Millimetres(required=True, data_key="cut_length_mm")
    steps = Many(Inner(GaugeStepSchema), required=True, least=1, most=1000)
    operator = Text(load_default=None, allow_none=True, most=60)
    copy_of = Text(load_default=None, allow_none=True, most=120)
