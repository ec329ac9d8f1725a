"""What a shop keeps besides machines and materials: sites, stock by site, blades; and all of it in a file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from marshmallow import ValidationError, post_load, validates_schema

from schemas.events import Moment
from schemas.fields import (
    Document,
    Inner,
    JsonInt,
    JsonNumber,
    Many,
    Name,
    Record,
    Text,
    between,
    positive,
)
from schemas.programs import ProgramSchema
from schemas.records import MachineSchema, MaterialSchema, StockSchema
from schemas.words import says
from service.engine.order import StockItem


def _time_zone(value: str) -> None:
    # A name that is no key of the table may raise any of these, depending on its letters.
    try:
        ZoneInfo(value)
    except (KeyError, ValueError, OSError):
        raise ValidationError("the IANA name of a time zone is wanted, such as Europe/London") from None


@dataclass(frozen=True, slots=True)
class Site:
    """A works: its days and months are counted by its own clock on the wall."""

    id: str
    name: str
    time_zone: str


@says(
    id="id of the site",
    name="name of the site",
    time_zone="IANA name of its time zone, by which its days are counted",
)
class SiteSchema(Record):
    """A works. Days of reports are counted in its time zone."""

    makes = Site
    id = Name(required=True)
    name = Text(required=True)
    time_zone = Text(required=True, most=60, also=_time_zone)


@dataclass(frozen=True, slots=True)
class StockRecord:
    """A stock item, and the site where it lies."""

    site: str
    item: StockItem


@says(
    site="id of the site where it lies",
)
class StockRecordSchema(StockSchema):
    """Stock lying at a site; `ref` is unique there. Its id is ``site/ref``."""

    site = Name(required=True)

    def get_attribute(self, obj: Any, attr: str, default: Any) -> Any:
        """Take everything but the site from the item."""
        return super().get_attribute(obj if attr == "site" else obj.item, attr, default)

    @post_load
    def _make(self, data: Mapping[str, Any], **kwargs: Any) -> Any:
        item = super()._make({name: value for name, value in data.items() if name != "site"})
        return StockRecord(data["site"], item)


def stock_item(record: Mapping[str, Any]) -> StockItem:
    """The engine's stock item of a stock record as the wire has it."""
    loaded: StockRecord = StockRecordSchema().load(record)
    return loaded.item


@dataclass(frozen=True, slots=True)
class Blade:
    """The blade at work on a machine, or one on the shelf (`machine` None).

    Attributes
    ----------
    edges, edge
        Cutting edges, and the one at work (from 1).
    used_m
        Equivalent metres of each edge since it was last ground or new.
    life_m
        Equivalent metres an edge lasts; None: as the machine profile says.
    regrinds
        How often it was reground.
    set_price, regrind_price, regrinds_planned
        What a set of upper and lower blade costs, what a regrind, and how many it stands [the shop's
        money]; a set price of None: not known.
    """

    id: str
    machine: str | None
    edges: int
    edge: int
    used_m: tuple[float, ...]
    life_m: float | None
    regrinds: int
    edge_since: datetime | None
    remark: str | None
    set_price: float | None = None
    regrind_price: float = 0.0
    regrinds_planned: int = 0


@says(
    id="id of the blade",
    machine="id of the machine that it is on; null: on the shelf",
    edges="cutting edges of the blade",
    edge="number of the edge at work, from 1",
    used_m="metres of the rated plate that each edge did since it was fresh",
    life_m="metres of the rated plate that an edge lasts; null: as the machine profile says",
    regrinds="how often it was reground",
    edge_since="since when the edge is at work; null: not known",
    set_price="price of a set of upper and lower blade, in the shop's money; null: not known",
    regrind_price="price of a regrind, in the shop's money",
    regrinds_planned="how many regrinds a set stands",
)
class BladeSchema(Record):
    """A blade and the use of each of its edges, in equivalent metres."""

    makes = Blade
    id = Name(required=True)
    machine = Text(load_default=None, allow_none=True, most=60)
    edges = JsonInt(load_default=4, validate=between(1, 4))
    edge = JsonInt(load_default=1, validate=between(1, 4))
    used_m = Many(JsonNumber(validate=between(0, 1e12)), load_default=list, most=4)
    life_m = JsonNumber(load_default=None, allow_none=True, validate=positive(most=1e9))
    regrinds = JsonInt(load_default=0, validate=between(0, 1000))
    edge_since = Moment(load_default=None, allow_none=True)
    remark = Text(load_default=None, allow_none=True, most=500)
    set_price = JsonNumber(load_default=None, allow_none=True, validate=between(0, 1e9))
    regrind_price = JsonNumber(load_default=0.0, validate=between(0, 1e9))
    regrinds_planned = JsonInt(load_default=0, validate=between(0, 1000))

    @validates_schema
    def _edges(self, data: Mapping[str, Any], **kwargs: Any) -> None:
        if data["edge"] > data["edges"]:
            raise ValidationError(f"the blade has {data['edges']} edges", "edge")
        if data["used_m"] and len(data["used_m"]) != data["edges"]:
            raise ValidationError(f"one figure for each of the {data['edges']} edges is wanted", "used_m")

    @post_load
    def _make(self, data: Mapping[str, Any], **kwargs: Any) -> Blade:
        used = data["used_m"] or [0.0] * data["edges"]
        return Blade(**{**data, "used_m": tuple(used)})


@says(
    sites="the works",
    machines="machine profiles",
    materials="the shop's own grades",
    stock="sheets and offcuts, by site",
    blades="blades on machines and on the shelf",
    programs="programs written by hand",
)
class ShopSchema(Document):
    """A shop's data in one file, for ``shearwright-service load``."""

    sites = Many(Inner(SiteSchema), load_default=list, most=1000)
    machines = Many(Inner(MachineSchema), load_default=list, most=10_000)
    materials = Many(Inner(MaterialSchema), load_default=list, most=10_000)
    stock = Many(Inner(StockRecordSchema), load_default=list, most=100_000)
    blades = Many(Inner(BladeSchema), load_default=list, most=10_000)
    programs = Many(Inner(ProgramSchema), load_default=list, most=10_000)
