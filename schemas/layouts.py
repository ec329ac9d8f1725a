"""Layouts on the wire: how a piece of stock is divided, edge to edge, as a tree of rectangles."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from marshmallow import ValidationError, fields, post_load, pre_load

from schemas.fields import (
    Choice,
    Document,
    Inner,
    JsonBool,
    JsonInt,
    Many,
    Millimetres,
    Record,
    Text,
)
from schemas.words import says
from service.engine.plan import Layout, Leaf, Node, Split, leaves
from service.engine.quantities import to_mm

LEAF_KINDS = ("part", "offcut", "scrap", "trim")


@says(
    kind="split: divided further; else what becomes of it",
    x="near corner along x, the rolling direction",
    y="near corner along y",
    axis="direction in which a split follows one child with the next",
    rotated="whether the part's length lies along y",
    children="what a split is divided into, from the near end",
)
class NodeSchema(Document):
    """A rectangle of a layout: a ``split`` with children, or a leaf."""

    kind = Choice("split", *LEAF_KINDS, required=True)
    x = Millimetres(required=True, zero_ok=True, data_key="x_mm")
    y = Millimetres(required=True, zero_ok=True, data_key="y_mm")
    dx = Millimetres(required=True, data_key="length_mm")
    dy = Millimetres(required=True, data_key="width_mm")
    axis = Choice("x", "y")
    ref = Text(allow_none=True)
    rotated = JsonBool()
    children = Many(Inner(lambda: NodeSchema()), least=1)  # noqa: PLW0108 - the class is not bound yet

    @post_load
    def _make(self, data: Mapping[str, Any], **kwargs: Any) -> Node:
        place = {name: data[name] for name in ("x", "y", "dx", "dy")}
        if data["kind"] == "split":
            if "axis" not in data or "children" not in data:
                raise ValidationError("a split has an axis and children", "kind")
            return Split(axis=data["axis"], children=tuple(data["children"]), **place)
        return Leaf(kind=data["kind"], ref=data.get("ref"), rotated=data.get("rotated", False), **place)


def write_node(node: Node) -> dict[str, Any]:
    """A layout tree as JSON; built by hand, as it is the one recursive part of the contract."""
    place: dict[str, Any] = {
        "x_mm": to_mm(node.x),
        "y_mm": to_mm(node.y),
        "length_mm": to_mm(node.dx),
        "width_mm": to_mm(node.dy),
    }
    if isinstance(node, Split):
        return {
            "kind": "split",
            "axis": node.axis,
            **place,
            "children": [write_node(child) for child in node.children],
        }
    leaf = {"kind": node.kind, **place}
    return {**leaf, "ref": node.ref, "rotated": node.rotated} if node.kind == "part" else leaf


class _Tree(Inner):
    def __init__(self) -> None:
        super().__init__(NodeSchema, required=True)

    def _serialize(  # type: ignore[override]  # the stubs of Field and Nested name it differently
        self, nested_obj: Any, attr: str | None, obj: Any, **kwargs: Any
    ) -> Any:
        return write_node(nested_obj)


@says(
    number="counted from 1 in the order in which the sheets are taken up",
    stock_ref="the stock that it is cut from",
    repeat="how many pieces of stock are divided so",
    tree="how the piece is divided, edge to edge",
)
class LayoutSchema(Record):
    """A layout and how many stock pieces are divided by it."""

    makes = Layout
    number = JsonInt(required=True)
    stock_ref = Text(required=True)
    material = Text(required=True)
    thickness = Millimetres(required=True, data_key="thickness_mm")
    repeat = JsonInt(required=True)
    tree = _Tree()
    placements = fields.Method("_placements", metadata={"description": "the leaves of the tree"})

    def _placements(self, layout: Layout) -> list[dict[str, Any]]:
        return [write_node(leaf) for leaf in leaves(layout.tree)]

    @pre_load
    def _without_placements(self, data: Any, **kwargs: Any) -> Any:
        # Repeated from the tree for readers; the tree rules.
        return {k: v for k, v in data.items() if k != "placements"} if isinstance(data, Mapping) else data
