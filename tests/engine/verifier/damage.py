"""Ways to break a sound plan, each with the code it must be found by."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

Document = dict[str, Any]
Damage = Callable[[Document], None]


class Damages(list[tuple[str, Damage]]):
    """Kinds of damage with their codes; as a decorator it takes in another."""

    def __call__(self, code: str) -> Callable[[Damage], Damage]:
        def register(breaks: Damage) -> Damage:
            self.append((code, breaks))
            return breaks

        return register


def machine(plan: Document) -> Document:
    found: Document = plan["order"]["machine"]
    return found


def part(plan: Document) -> Document:
    found: Document = plan["order"]["parts"][0]
    return found


def step(plan: Document, number: int) -> Document:
    found: Document = plan["program"][number - 1]
    return found
