"""Talking to the service: one place that knows about HTTP.

Nothing here tries again by itself; who calls decides that, with :func:`retrying`.
"""

from __future__ import annotations

import gzip
import json
import random
import re
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from email.utils import format_datetime, parsedate_to_datetime
from typing import Any, Final, TypeVar

import requests
from requests.auth import AuthBase

from client.errors import CentreAway, CentreRefuses

CONNECT_S: Final = 5.0
READ_S: Final = 30.0
PLAN_S: Final = 100.0
"""For the answer with a plan: an order of the largest size takes half a minute on a slow computer."""
FIRST_PAUSE_S: Final = 0.5
LONGEST_PAUSE_S: Final = 30.0
MOST_ANSWER: Final = 64 * 1024 * 1024
"""Bytes of an answer beyond which it is not read on."""

PACK_FROM: Final = 1400
"""Bytes of a body from which it is packed: what fits one packet gains nothing."""

_TRY_AGAIN: Final = frozenset({408, 425, 429})

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Answer:
    """A good answer: its status, headers and document, and the local times around the exchange."""

    status: int
    headers: Mapping[str, str]
    document: dict[str, Any]
    sent_at: datetime
    received_at: datetime


class _Bearer(AuthBase):
    # As an auth object, so that a .netrc file cannot put other credentials in its place.
    def __init__(self, token: str) -> None:
        self._token = token

    def __call__(self, request: requests.PreparedRequest) -> requests.PreparedRequest:
        request.headers["Authorization"] = f"Bearer {self._token}"
        return request


class Wire:
    """A service as seen from a workstation.

    Attributes
    ----------
    server
        Its address.
    timeout_s
        Longest silence within an answer [s].
    ends_at
        By :func:`time.monotonic`, when a request must be over at the latest; None: no such moment.
    packs
        Whether large bodies go packed; False once the service has shown that it does not unpack them.
    """

    def __init__(
        self,
        server: str,
        token: str,
        *,
        timeout_s: float = READ_S,
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
    ) -> None:
        self.server = server
        self.now = now
        self.timeout_s = timeout_s
        self.ends_at: float | None = None
        self.packs = True
        self._session = requests.Session()
        self._session.auth = _Bearer(token)

    def close(self) -> None:
        """Give the connections back."""
        self._session.close()

    def get(self, path: str, params: Mapping[str, str] | None = None) -> Answer:
        """GET a JSON document."""
        return self._ask("GET", path, params=params)

    def post(self, path: str, document: Any, headers: Mapping[str, str] | None = None) -> Answer:
        """POST a JSON document."""
        body = json.dumps(document, separators=(",", ":"), allow_nan=False).encode("utf-8")
        headers = {"Content-Type": "application/json", **(headers or {})}
        if not self.packs or len(body) < PACK_FROM:
            return self._ask("POST", path, data=body, headers=headers)
        packed = gzip.compress(body, compresslevel=6, mtime=0)
        try:
            return self._ask("POST", path, data=packed, headers={**headers, "Content-Encoding": "gzip"})
        except CentreRefuses as refusal:
            # A service of an earlier version takes the packed bytes for JSON, and names no field of it.
            if refusal.status not in {400, 415} or refusal.problem.get("errors"):
                raise
            self.packs = False
            return self._ask("POST", path, data=body, headers=headers)

    def _ask(
        self,
        method: str,
        path: str,
        *,
        params: Mapping[str, str] | None = None,
        data: bytes | None = None,
        headers: Mapping[str, str] | None = None,
    ) -> Answer:
        """Ask once.

        Raises
        ------
        CentreAway
            No answer, a broken one, 5xx, 408, 425 or 429.
        CentreRefuses
            Any other answer that is not 2xx.
        """
        sent_at = self.now()
        try:
            with self._session.request(
                method,
                self.server + path,
                params=params,
                data=data,
                headers={
                    "Accept": "application/json",
                    # The centre compares our clock with its own at every exchange.
                    "Date": format_datetime(sent_at.astimezone(UTC), usegmt=True),
                    **(headers or {}),
                },
                timeout=(min(CONNECT_S, self._left()), min(self.timeout_s, self._left())),
                allow_redirects=False,
                stream=True,
            ) as response:
                body = self._body(response)
                status, got = response.status_code, dict(response.headers)
        except requests.Timeout as error:
            raise CentreAway(f"{self.server} did not answer in time") from error
        except requests.exceptions.SSLError as error:
            raise CentreAway(f"the certificate of {self.server} is not accepted: {_reason(error)}") from error
        except requests.RequestException as error:
            if _cut(error):
                raise CentreAway(
                    f"the line to {self.server} was cut before its answer was here as a whole"
                ) from error
            raise CentreAway(f"{self.server} cannot be reached: {_reason(error)}") from error
        return _judged(self.server, status, got, body, sent_at, self.now())

    def _left(self) -> float:
        return 1e6 if self.ends_at is None else max(0.5, self.ends_at - time.monotonic())

    def _body(self, response: requests.Response) -> bytes:
        chunks: list[bytes] = []
        size = 0
        deadline = time.monotonic() + min(4 * self.timeout_s, self._left())
        for chunk in response.iter_content(65536):
            size += len(chunk)
            if size > MOST_ANSWER or time.monotonic() > deadline:
                raise CentreAway(f"the answer of {self.server} does not come to an end")
            chunks.append(chunk)
        return b"".join(chunks)


def _judged(
    server: str,
    status: int,
    headers: Mapping[str, str],
    body: bytes,
    sent_at: datetime,
    received_at: datetime,
) -> Answer:
    document = _document(body)
    if 200 <= status < 300:
        if document is None:
            raise CentreAway(f"the answer of {server} is not one of a Shearwright service, or was cut short")
        return Answer(status, headers, document, sent_at, received_at)
    if status >= 500 or status in _TRY_AGAIN:
        wait_s = _retry_after(next((v for k, v in headers.items() if k.lower() == "retry-after"), None))
        why = f": {said}" if (said := _said(document or {})) else ""
        raise CentreAway(f"{server} cannot take it now (status {status}){why}", wait_s)
    problem = document or {}
    raise CentreRefuses(_in_words(server, status, problem), status, problem)


def _document(body: bytes) -> dict[str, Any] | None:
    try:
        found = json.loads(body)
    except ValueError:
        return None
    return found if isinstance(found, dict) else None


def _in_words(server: str, status: int, problem: Mapping[str, Any]) -> str:
    if status == 401:
        return f"{server} does not know this token; get a new one and run shearwright init again"
    if status == 403:
        why = _said(problem) or "its scope or station differs"
        return f"{server} does not allow this with this token: {why}"
    if 300 <= status < 400:
        return f"{server} has moved; run shearwright init with its new address"
    if status == 404 and not problem:
        return f"there is no Shearwright service at {server} (status 404)"
    return f"{server} refuses: {_said(problem) or f'status {status}'}"


def _said(problem: Mapping[str, Any]) -> str:
    errors = problem.get("errors")
    told = [str(problem[key]) for key in ("detail", "title") if problem.get(key)][:1]
    if isinstance(errors, list):
        told += [f"{e.get('pointer', '')}: {e.get('message', '')}" for e in errors[:5] if isinstance(e, dict)]
    return "; ".join(told)


def _cut(error: requests.RequestException) -> bool:
    """Whether there was a line, and it ended in the middle of an exchange."""
    inner = error.args[0] if error.args else None
    # What kept a line from being made at all comes with a `reason`.
    broke = isinstance(inner, Exception) and not hasattr(inner, "reason")
    return isinstance(error, requests.exceptions.ChunkedEncodingError) or (
        isinstance(error, requests.ConnectionError) and broke
    )


def _reason(error: BaseException) -> str:
    inner = error.args[0] if error.args else error
    reason = getattr(inner, "reason", None) or inner
    text = str(reason)
    said = text.rsplit(": ", 1)[-1].strip("()'\" ")
    return re.sub(r"^\[Errno -?\d+\] ", "", said) or type(error).__name__


def _retry_after(value: str | None) -> float | None:
    if value is None:
        return None
    if value.strip().isdigit():
        return float(value)
    try:
        moment = parsedate_to_datetime(value)
    except (TypeError, ValueError):
        return None
    return max(0.0, (moment.astimezone(UTC) - datetime.now(UTC)).total_seconds())


@dataclass(slots=True)
class Patience:
    """How long and how often a run may try.

    Attributes
    ----------
    total_s
        Seconds for everything together.
    tries
        Attempts for one request.
    sleep, clock, chance
        For tests: how to wait, what time it is, and where jitter comes from.
    """

    total_s: float = 120.0
    tries: int = 4
    sleep: Callable[[float], object] = time.sleep
    clock: Callable[[], float] = time.monotonic
    chance: Callable[[], float] = random.random
    ends_at: float = 0.0

    def __post_init__(self) -> None:
        self.ends_at = self.clock() + self.total_s

    @property
    def over(self) -> bool:
        """Whether the time for everything is up."""
        return self.clock() >= self.ends_at


def retrying(ask: Callable[[], T], patience: Patience) -> T:
    """Ask until there is an answer; pauses double, with jitter, and Retry-After is kept to.

    Raises
    ------
    CentreAway
        When the tries or the time are used up.
    """
    pause = FIRST_PAUSE_S
    for attempt in range(1, patience.tries + 1):
        if patience.over:
            raise CentreAway(
                f"the time for this sync ({patience.total_s:g} s) is up; the rest goes next time"
            )
        try:
            return ask()
        except CentreAway as away:
            wait = max(away.wait_s or 0.0, pause * (0.5 + patience.chance()))
            if attempt == patience.tries or patience.clock() + wait >= patience.ends_at:
                raise
            patience.sleep(wait)
            pause = min(2 * pause, LONGEST_PAUSE_S)
    raise AssertionError("a run has at least one try")
