"""The mark beside the store: how far the store was when it was last written, and on which computer.

A store that was put back from a backup, or copied to another computer, would give out numbers that
were given out before. The mark is a file of its own, so that it does not go back in time with the
store; when the two disagree the station begins a new epoch and nothing is thrown away.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from pathlib import Path

from client.errors import StoreFailed
from client.home import write_whole


@dataclass(frozen=True, slots=True)
class Mark:
    """Epoch, last number given out in it, the hash of that event, and the computer."""

    epoch: str
    seq: int
    hash: str
    computer: str


def read_mark(path: Path) -> Mark | None:
    """The mark, or None when there is none or it cannot be understood."""
    try:
        return Mark(**json.loads(path.read_text(encoding="utf-8")))
    except FileNotFoundError:
        return None
    except (ValueError, TypeError):
        return None  # as good as none: the store then begins a new epoch
    except OSError as error:
        raise StoreFailed(f"{path} cannot be read: {error.strerror}") from error


def write_mark(path: Path, mark: Mark) -> None:
    """Replace the mark."""
    write_whole(path, (json.dumps(asdict(mark)) + "\n").encode("utf-8"))
