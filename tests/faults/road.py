"""The road between benches and centre: it loses, doubles, delays and cuts what it carries."""

from __future__ import annotations

import contextlib
import gzip
import io
import json
import random
from typing import TYPE_CHECKING

import requests
from requests.structures import CaseInsensitiveDict
from werkzeug.test import EnvironBuilder

from tests.faults.floor import Bench, Killed

if TYPE_CHECKING:
    from flask import Flask


class Road:
    """The part of a world that lies between the benches and the centre."""

    chance: random.Random
    misfortune: float
    seconds: float
    calm: bool
    depth: int
    app: Flask
    benches: list[Bench]
    late: list[tuple[Bench, requests.PreparedRequest]]
    came_late: set[str]
    to_kill: int
    to_crash: int

    if TYPE_CHECKING:

        def tell(self, words: str) -> None: ...
        def step(self, bench: Bench) -> None: ...
        def start_centre(self) -> None: ...

    def carry(self, bench: Bench, request: requests.PreparedRequest) -> requests.Response:
        self.seconds += self.chance.random()
        if not self.calm:
            self._meanwhile()
        if bench.cut_off:
            raise requests.ConnectionError("no network")
        if self.calm or self.chance.random() >= self.misfortune:
            return self.deliver(request)
        fate = self.chance.choice(
            ["away", "answer lost", "twice", "late", "body cut", "answer cut", "crash", "busy", "kill"]
        )
        self.tell(f"{bench.name}: {request.method} {fate}")
        if fate == "twice":
            self.deliver(request)
            return self.deliver(request)
        if fate == "answer lost":
            self.deliver(request)
        elif fate == "late":
            self.late.append((bench, request))
            raise requests.Timeout("no answer in time")
        elif fate == "body cut":
            return self.deliver(request, cut=True)
        elif fate == "answer cut":
            answer = self.deliver(request)
            whole = answer.raw.getvalue()
            answer.raw = io.BytesIO(whole[: self.chance.randrange(len(whole) or 1)])
            return answer
        elif fate == "crash":
            self.to_crash = self.chance.randrange(1, 60)
            try:
                self.deliver(request)
            finally:
                self.to_crash = 0
        elif fate == "busy":
            answer = requests.Response()
            answer.status_code, answer.raw = 503, io.BytesIO(b"")
            answer.headers["Retry-After"] = "1"
            return answer
        elif fate == "kill":
            answer = self.deliver(request)
            self.to_kill = self.chance.randrange(1, 25)
            return answer
        raise requests.ConnectionError("the line broke")

    def deliver(self, request: requests.PreparedRequest, cut: bool = False) -> requests.Response:
        """Put a request before the application; `cut`: its body breaks off, and the line with it."""
        headers = dict(request.headers)
        headers.pop("Connection", None)
        body = request.body or b""
        assert isinstance(body, bytes)
        builder = EnvironBuilder(
            path=(request.path_url or "/").partition("?")[0],
            query_string=(request.path_url or "").partition("?")[2],
            method=request.method or "GET",
            headers=headers,
            data=body,
        )
        environ = builder.get_environ()
        if cut and body:
            environ["wsgi.input"] = io.BytesIO(body[: self.chance.randrange(len(body))])
        try:
            answer = self.app.test_client().open(environ)
        except Killed:
            self.to_crash = 0
            self.start_centre()
            raise requests.ConnectionError("the centre is gone") from None
        if cut:
            assert answer.status_code < 500, f"a body cut short gave {answer.status_code}"
            raise requests.ConnectionError("the line broke")
        assert answer.status_code != 500, answer.text
        if answer.status_code == 507:
            self.tell(f"the centre has no room for a {request.method}")
        made = requests.Response()
        made.status_code = answer.status_code
        made.headers = CaseInsensitiveDict(answer.headers.items())
        made.raw = io.BytesIO(answer.data)
        made.request = request
        made.url = request.url or ""
        return made

    def _meanwhile(self) -> None:
        """While one bench waits for an answer others go on, and old letters arrive."""
        if self.depth < 2 and self.chance.random() < 0.25:
            self.depth += 1
            try:
                self.step(self.chance.choice(self.benches))
            finally:
                self.depth -= 1
        while self.late and self.chance.random() < 0.4:
            self.deliver_late()

    def deliver_late(self) -> None:
        bench, request = self.late.pop(self.chance.randrange(len(self.late)))
        self.tell(f"{bench.name}: an old {request.method} arrives")
        body = request.body or b""
        assert isinstance(body, bytes)
        if body:
            packed = request.headers.get("Content-Encoding") == "gzip"
            events = json.loads(gzip.decompress(body) if packed else body)["events"]
            self.came_late |= {event["event_id"] for event in events}
        with contextlib.suppress(requests.RequestException):
            self.deliver(request)
