"""Where a workstation keeps its things: settings, token, store, cache, mark and locks.

The folder is ``--home``, else ``SHEARWRIGHT_HOME``, else the user's data folder.
"""

from __future__ import annotations

import contextlib
import errno
import json
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import BinaryIO
from urllib.parse import urlsplit

import platformdirs
from filelock import FileLock, Timeout

from client.errors import DiskFull, InputWrong, NotSetUp, StoreBusy, StoreFailed

HOME_VARIABLE = "SHEARWRIGHT_HOME"
WRITER_WAIT_S = 10.0
"""How long one command waits for another that is writing."""


@dataclass(frozen=True, slots=True)
class StationSettings:
    """Which service this workstation belongs to, and who it is there."""

    server: str
    station: str
    site: str


@dataclass(frozen=True, slots=True)
class Home:
    """The folder of one workstation."""

    folder: Path

    @property
    def settings_file(self) -> Path:
        """Server, station and site; no secrets."""
        return self.folder / "settings.json"

    @property
    def token_file(self) -> Path:
        """The station's token, readable by its owner only."""
        return self.folder / "token"

    @property
    def plan_token_file(self) -> Path:
        """A token of the scope `plan`, for planning at the service; not every station has one."""
        return self.folder / "plan-token"

    @property
    def store_file(self) -> Path:
        """What was written down here. Must never be lost."""
        return self.folder / "station.sqlite3"

    @property
    def cache_file(self) -> Path:
        """What the centre sent. May be deleted at will; `shearwright pull` brings it back."""
        return self.folder / "cache.sqlite3"

    @property
    def mark_file(self) -> Path:
        """How far the store was when last written, kept beside it to notice a restore or a copy."""
        return self.folder / "mark.json"

    @contextmanager
    def writing(self, wait_s: float | None = None) -> Iterator[None]:
        """Be the only writer of this folder.

        Raises
        ------
        StoreBusy
            When another process does not let go within `wait_s`.
        """
        wait = WRITER_WAIT_S if wait_s is None else wait_s
        with self._locked("writer.lock", wait, "another shearwright is writing here; try again in a moment"):
            yield

    @contextmanager
    def logging(self) -> Iterator[None]:
        """Be the only one that looks at what is logged and then logs more.

        Held around :meth:`writing` while a count is read and acted on, never the other way round.
        """
        busy = "another shearwright is logging here; try again in a moment"
        with self._locked("logging.lock", WRITER_WAIT_S, busy):
            yield

    @contextmanager
    def syncing(self, wait_s: float = 0.0) -> Iterator[None]:
        """Be the only one that syncs; others may log meanwhile."""
        with self._locked("sync.lock", wait_s, "another shearwright is syncing this station already"):
            yield

    @contextmanager
    def _locked(self, name: str, wait_s: float, busy: str) -> Iterator[None]:
        self.make()
        lock = FileLock(str(self.folder / name))
        try:
            lock.acquire(timeout=wait_s, poll_interval=0.02)
        except Timeout as error:
            raise StoreBusy(busy) from error
        except OSError as error:
            raise _failed(error, f"cannot write in {self.folder}") from error
        try:
            yield
        finally:
            lock.release()

    def make(self) -> None:
        """Create the folder, for its owner only."""
        try:
            self.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        except OSError as error:
            raise _failed(error, f"cannot make the folder {self.folder}") from error

    def settings(self) -> StationSettings:
        """Read the settings.

        Raises
        ------
        NotSetUp
            When there are none.
        """
        try:
            found = json.loads(self.settings_file.read_text(encoding="utf-8"))
            return StationSettings(**found)
        except FileNotFoundError:
            raise NotSetUp(
                f"no workstation is set up in {self.folder}: run "
                "shearwright init --server URL --station NAME --site SITE"
            ) from None
        except (OSError, ValueError, TypeError) as error:
            raise StoreFailed(
                f"{self.settings_file} cannot be read ({error}); run shearwright init again: it asks for all "
                "that stood there, and touches nothing else"
            ) from error

    def token(self) -> str:
        """Read the station's token.

        Raises
        ------
        NotSetUp
            When there is none.
        """
        return _secret(self.token_file, "the token is missing: run shearwright init again")

    def plan_token(self) -> str:
        """Read the token for planning at the service.

        Raises
        ------
        NotSetUp
            When there is none.
        """
        return _secret(
            self.plan_token_file,
            "the service plans for tokens of the scope plan only, and a station's token is not one: "
            "run shearwright init again with --plan-token, or plan without --online",
        )

    def write_settings(self, settings: StationSettings, token: str, plan_token: str | None = None) -> None:
        """Keep settings and tokens; the tokens for their owner's eyes only."""
        self.make()
        write_whole(self.token_file, (token + "\n").encode("ascii"), mode=0o600)
        if plan_token is not None:
            write_whole(self.plan_token_file, (plan_token + "\n").encode("ascii"), mode=0o600)
        text = json.dumps(asdict(settings), indent=2) + "\n"
        write_whole(self.settings_file, text.encode("utf-8"))


def _secret(path: Path, missing: str) -> str:
    try:
        return path.read_text(encoding="ascii").strip()
    except FileNotFoundError:
        raise NotSetUp(missing) from None
    except (OSError, UnicodeDecodeError) as error:
        raise StoreFailed(f"{path} cannot be read: {error}") from error


def home_at(given: str | os.PathLike[str] | None = None) -> Home:
    """The home named by `given`, by the environment, or the user's own."""
    named = given or os.environ.get(HOME_VARIABLE)
    return Home(Path(named).expanduser() if named else Path(platformdirs.user_data_dir("shearwright", False)))


def checked_server(url: str) -> str:
    """The address of a service without a closing slash.

    Raises
    ------
    InputWrong
        When it is not an http or https address.

    >>> checked_server("https://shear.quillmark.example/")
    'https://shear.quillmark.example'
    """
    parts = urlsplit(url.strip())
    if parts.scheme not in {"http", "https"} or not parts.hostname or parts.query or parts.fragment:
        raise InputWrong(f"{url!r} is not the address of a service; write for example https://shear.example")
    if parts.username or parts.password:
        raise InputWrong("the address may not hold a user name or password; the token is given by --token")
    return url.strip().rstrip("/")


def write_whole(path: Path, data: bytes, mode: int = 0o644) -> None:
    """Write a file so that after a power cut there is the old one or the new one, never half of one.

    Raises
    ------
    StoreFailed
        When it cannot be written; the old file is untouched.
    """
    with writing_whole(path, mode) as out:
        out.write(data)


@contextmanager
def writing_whole(path: Path, mode: int = 0o644) -> Iterator[BinaryIO]:
    """Write a file bit by bit; it takes the place of the old one at the end of the block, whole.

    Raises
    ------
    StoreFailed
        When it cannot be written; the old file is untouched.
    """
    handle = -1
    scratch = ""
    try:
        handle, scratch = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        with os.fdopen(handle, "wb") as out:
            yield out
            out.flush()
            os.fsync(out.fileno())
        Path(scratch).chmod(mode)
        Path(scratch).replace(path)
        scratch = ""
    except OSError as error:
        raise _failed(error, f"{path} cannot be written") from error
    finally:
        if scratch:
            with contextlib.suppress(OSError):
                Path(scratch).unlink()
    _flush_folder(path.parent)


def _failed(error: OSError, what: str) -> StoreFailed:
    if error.errno in {errno.ENOSPC, errno.EDQUOT}:
        return DiskFull(f"{what}: the disk is full; make room")
    return StoreFailed(f"{what}: {error.strerror}")


def _flush_folder(folder: Path) -> None:
    if os.name != "posix":
        return  # Windows has no handle to a folder that could be flushed
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        return
    try:
        os.fsync(handle)
    except OSError:
        return  # some network folders refuse; the file itself is flushed
    finally:
        os.close(handle)
