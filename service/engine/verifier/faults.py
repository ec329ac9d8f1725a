"""What a check has to say: faults with a code, a place in the document, and a plain message."""

from __future__ import annotations

from dataclasses import dataclass, field

MOST_FAULTS = 500
"""One broken step drags others along; more than this helps nobody."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong: `where` is a JSON Pointer into the document."""

    code: str
    where: str
    message: str


@dataclass(frozen=True, slots=True)
class Counts:
    """What the replay counted."""

    steps: int = 0
    strokes: int = 0
    pieces_used: int = 0
    parts: int = 0


@dataclass(frozen=True, slots=True)
class Verdict:
    """`ok` when `faults` is empty."""

    ok: bool
    faults: tuple[Fault, ...]
    counts: Counts

    def codes(self) -> tuple[str, ...]:
        """The different codes found, sorted."""
        return tuple(sorted({fault.code for fault in self.faults}))


@dataclass(slots=True)
class Faults:
    """Gathers faults, without repeating one."""

    _found: dict[Fault, None] = field(default_factory=dict)

    def add(self, code: str, where: str, message: str) -> None:
        """Note a fault."""
        if len(self._found) < MOST_FAULTS:
            self._found[Fault(code, where, message)] = None

    def unless(self, good: bool, code: str, where: str, message: str) -> None:
        """Note a fault unless it is `good`."""
        if not good:
            self.add(code, where, message)

    def found(self) -> tuple[Fault, ...]:
        """All of them, in the order found."""
        return tuple(self._found)


def shown(hundredths: int) -> str:
    """A length as people write it.

    >>> shown(11850), shown(-5), shown(60000)
    ('118.5', '-0.05', '600')
    """
    sign, (whole, rest) = "-" * (hundredths < 0), divmod(abs(hundredths), 100)
    return f"{sign}{whole}.{rest:02d}".rstrip("0").rstrip(".") if rest else f"{sign}{whole}"
