"""Names that need no one's permission: UUIDs in the order of time, and which computer this is."""

from __future__ import annotations

import hashlib
import os
import platform
import sys
import threading
import time
import uuid
from pathlib import Path

_COUNTER_BITS = 12
_lock = threading.Lock()
_last = 0


def uuid7(now_ms: int | None = None) -> uuid.UUID:
    """A UUID of version 7 by RFC 9562: 48 bits of Unix milliseconds, then a counter, then chance.

    Within a process each is greater than the one before, also within a millisecond and when the
    clock is put back (RFC 9562, 6.2, method 1: the 12 bits after the version are a counter that
    carries into the milliseconds).

    Parameters
    ----------
    now_ms
        Milliseconds since 1970; the system clock when left out.

    >>> made = uuid7(0x017F22E279B0)
    >>> made.version, made.variant == uuid.RFC_4122
    (7, True)
    """
    global _last  # noqa: PLW0603 - the guard against a clock put back lives as long as the process
    stamp = time.time_ns() // 1_000_000 if now_ms is None else now_ms
    with _lock:
        # The counter starts in its lower half, so that one millisecond has room for 2048 at least.
        fresh = (stamp << _COUNTER_BITS) | int.from_bytes(os.urandom(2), "big") & 0x7FF
        _last = max(fresh, _last + 1)
        tick = _last
    milliseconds, counter = tick >> _COUNTER_BITS, tick & 0xFFF
    rest = int.from_bytes(os.urandom(8), "big") & ((1 << 62) - 1)
    return uuid.UUID(int=(milliseconds & ((1 << 48) - 1)) << 80 | 7 << 76 | counter << 64 | 2 << 62 | rest)


def computer_fingerprint() -> str:
    """16 hexadecimal digits that tell this computer from another; nothing can be read from them."""
    return hashlib.sha256(f"shearwright station {_computer_identity()}".encode()).hexdigest()[:16]


def _computer_identity() -> str:
    if sys.platform == "win32":
        import winreg  # noqa: PLC0415 - exists on Windows only

        with winreg.OpenKey(winreg.HKEY_LOCAL_MACHINE, r"SOFTWARE\Microsoft\Cryptography") as key:
            return str(winreg.QueryValueEx(key, "MachineGuid")[0])
    for place in ("/etc/machine-id", "/var/lib/dbus/machine-id"):
        try:
            found = Path(place).read_text(encoding="ascii").strip()
        except (OSError, UnicodeDecodeError):
            continue
        if found:
            return found
    node = uuid.getnode()
    # A node number with the multicast bit set was made up for this process and tells nothing.
    return platform.node() if node >> 40 & 1 else f"{platform.node()} {node:012x}"
