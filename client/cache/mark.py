"""The mark beside the store: how far the store was when it was last written, and on which computer.

A store that was put back from a backup, or copied to another computer, would give out numbers that
were given out before. The mark is a file of its own, so that it does not go back in time with the
store; when the two disagree the station begins a new epoch and nothing is thrown away.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path

from client.errors import StoreFailed
from client.home import write_whole


@dataclass(frozen=True, slots=True)
class Mark:
    """Epoch, last number given out in it, the hash of that event, and the computer.

    `earlier`: the last number of each epoch before; empty in the mark of an earlier version. `row`: the
    last number given out in the log, which is that of the last entry of the epoch; 0 where nothing tells.
    """

    epoch: str
    seq: int
    hash: str
    computer: str
    earlier: Mapping[str, int] = field(default_factory=dict)
    row: int = 0

    @property
    def last(self) -> dict[str, int]:
        """By epoch, oldest first, the last number given out."""
        return {**self.earlier, self.epoch: self.seq}


def read_mark(path: Path) -> Mark | None:
    """The mark, or None when there is none or it cannot be understood."""
    try:
        found = Mark(**json.loads(path.read_text(encoding="utf-8")))
        earlier = {str(epoch): int(seq) for epoch, seq in found.earlier.items()}
        return replace(found, earlier=earlier, row=int(found.row))
    except FileNotFoundError:
        return None
    except (ValueError, TypeError, AttributeError):
        return None  # as good as none: the store then begins a new epoch
    except OSError as error:
        raise StoreFailed(f"{path} cannot be read: {error.strerror}") from error


def write_mark(path: Path, mark: Mark) -> None:
    """Replace the mark."""
    write_whole(path, (json.dumps(asdict(mark)) + "\n").encode("utf-8"))
