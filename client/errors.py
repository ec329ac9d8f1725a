"""Everything that can go wrong at the workstation, as one tree, with the exit code of each.

::

    ClientError
    ├── FaultsFound        1  a check did its work and found faults
    ├── InputWrong         3  an order file, a plan file or a value is not as wanted
    ├── NotSetUp           4  no `shearwright init` yet, or nothing pulled yet
    ├── CentreAway         5  the service cannot be reached now; nothing is lost
    ├── CentreRefuses      6  the service answers, and says no
    ├── StoreBusy          7  another shearwright is writing
    ├── StoreFailed        8  the local store cannot be read or written
    │   ├── DiskFull       8  … because the disk is full
    │   └── CacheDamaged   8  … only what the centre sent is damaged, and it can be fetched anew
    └── NotAllPlanned     10  the plan is made and kept, and lacks some of the order

Exit code 2 is for a command written wrongly, 9 for a fault in the program itself.
"""

from __future__ import annotations

from typing import ClassVar

EXIT_CODES = """\
0  done
1  a check found faults
2  the command was written wrongly
3  an order file, a plan file or a value is not as wanted
4  not set up yet (init), or records are missing (pull)
5  the service cannot be reached now; nothing is lost
6  the service answers, and refuses
7  another shearwright is writing to the same store
8  the local store cannot be read or written
9  a fault in the program itself
10 the plan is made and kept, but some pieces of the order are not planned"""


class ClientError(Exception):
    """One clear sentence for the person at the machine."""

    exit_code: ClassVar[int] = 9


class FaultsFound(ClientError):  # noqa: N818 - reads as what it says
    """A check did its work and found faults."""

    exit_code = 1


class InputWrong(ClientError):  # noqa: N818 - reads as what it says
    """Something given is not as wanted; the message says what is."""

    exit_code = 3


class NotSetUp(ClientError):  # noqa: N818 - reads as what it says
    """Set-up or records are missing; the message says which command brings them."""

    exit_code = 4


class CentreAway(ClientError):  # noqa: N818 - reads as what it says
    """No answer, a broken one, or one that asks to wait. Never held against an event.

    `wait_s` is what the service asked to wait, when it did.
    """

    exit_code = 5

    def __init__(self, message: str, wait_s: float | None = None) -> None:
        super().__init__(message)
        self.wait_s = wait_s


class CentreRefuses(ClientError):  # noqa: N818 - reads as what it says
    """The service answers and says no. `status` is its HTTP status, `problem` its problem document."""

    exit_code = 6

    def __init__(self, message: str, status: int, problem: dict[str, object] | None = None) -> None:
        super().__init__(message)
        self.status = status
        self.problem = problem or {}


class StoreBusy(ClientError):  # noqa: N818 - reads as what it says
    """Another process holds the store."""

    exit_code = 7


class StoreFailed(ClientError):  # noqa: N818 - reads as what it says
    """The local store cannot be read or written."""

    exit_code = 8


class DiskFull(StoreFailed):
    """There is no room left where the store lies; nothing was written."""


class CacheDamaged(StoreFailed):
    """What the centre sent is damaged here; what was written down is not, and the centre has the rest."""

    def __init__(self, what: str) -> None:
        super().__init__(
            f"the cache is damaged: {what}; shearwright pull --anew fetches all records anew, and nothing "
            "that was written down here is touched"
        )


class NotAllPlanned(ClientError):  # noqa: N818 - reads as what it says
    """The plan is made, kept and shown; some pieces of the order are not in it."""

    exit_code = 10
