"""Records over HTTP: list, make, read, change, delete; the same for every kind.

A change of a record that is there wants ``If-Match`` with its revision; a stale one is refused with
the revision that stands.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from urllib.parse import quote

from flask import request
from marshmallow import Schema

from schemas.answers import PageQuerySchema, page_of, with_findings
from schemas.findings import FindingSchema
from schemas.problems import EXISTS, IN_USE, REVISION_WANTED, STALE, FieldError
from service.api.operations import Answer, Given, Operations
from service.api.paging import begins_after, page
from service.api.problems import ProblemError, not_found, not_valid
from service.engine.findings import Finding
from service.store import records
from service.store.records import Kept, StaleRevision


@dataclass(frozen=True, slots=True)
class Shelf:
    """One kind of record.

    Attributes
    ----------
    kind, path, noun
        In the store, in the address, in messages.
    key_field
        The field that names a record; for stock the key is made of two.
    schema
        What it is on the wire.
    read, write
        Scopes.
    site_of
        The site it belongs to, from its document; None: every site's.
    faults
        What is wrong with a document besides its form.
    used_by
        In words, what still names a record, so that it cannot go.
    told
        What is to be said of a record that was made or changed; it stands as `findings` in the answer.
    built_in
        Records that are there without having been made.
    followers
        Kinds whose records belong to the site of the one of this shelf that they name.
    address
        What a record's address is made of, after that of the shelf.
    """

    kind: str
    path: str
    noun: str
    schema: type[Schema]
    read: tuple[str, ...]
    write: tuple[str, ...]
    key_of: Callable[[dict[str, Any]], str]
    key_field: str
    site_of: Callable[[dict[str, Any]], str | None]
    faults: Callable[[dict[str, Any]], list[FieldError]] = lambda _: []
    used_by: Callable[[str], str | None] = lambda _: None
    told: Callable[[dict[str, Any]], Sequence[Finding]] | None = None
    built_in: Callable[[], dict[str, dict[str, Any]]] = dict
    followers: tuple[str, ...] = ()
    address: str = "id"

    def operations(self) -> Operations:
        """The five operations."""
        kind = Operations(self.path)
        one = f"/{self.path}/<path:key>"
        item = self.schema
        kept = item if self.told is None else with_findings(item)

        def listing(given: Given) -> Answer:
            return self._list(given)

        def create(given: Given) -> Answer:
            with records.writing():
                return self._create(given)

        def read(given: Given, key: str) -> Answer:
            return self._read(key)

        def replace(given: Given, key: str) -> Answer:
            try:
                with records.writing():
                    return self._replace(given, key)
            except ProblemError as problem:
                # After the transaction of the write that was refused.
                raise self._with_copy(problem, given, key) from None

        def delete(given: Given, key: str) -> Answer:
            with records.writing():
                return self._delete(given, key)

        for view, verb in (
            (listing, "list"),
            (create, "create"),
            (read, "read"),
            (replace, "replace"),
            (delete, "delete"),
        ):
            view.__name__ = f"{verb}_{self.path}"
        kind(
            "GET", f"/{self.path}", scopes=self.read, query=PageQuerySchema, answers={200: page_of(item)},
            summary=f"List {self.noun}s, in the order of their names",
        )(listing)  # fmt: skip
        kind(
            "POST", f"/{self.path}", scopes=self.write, body=item, answers={201: kept},
            summary=f"Make a {self.noun}; refused when there is one of that name",
        )(create)  # fmt: skip
        kind("GET", one, scopes=self.read, answers={200: item}, summary=f"Read a {self.noun}")(read)
        kind(
            "PUT", one, scopes=self.write, body=item, answers={200: kept, 201: kept}, revisioned=True,
            summary=f"Change a {self.noun} (with If-Match), or make it"
            + (f"; the address is {self.address}" if "/" in self.address else ""),
        )(replace)  # fmt: skip
        kind(
            "DELETE", one, scopes=self.write, answers={204: None}, revisioned=True,
            summary=f"Delete a {self.noun} (with If-Match)",
        )(delete)  # fmt: skip
        return kind

    def normal(self, body: Any) -> dict[str, Any]:
        """A loaded body as the document to keep: every field there, lengths in mm.

        Raises
        ------
        ProblemError
            422 for what is wrong with it besides its form.
        """
        document: dict[str, Any] = self.schema().dump(body)
        if faults := self.faults(document):
            raise not_valid(faults)
        return document

    def _list(self, given: Given) -> Answer:
        limit, after = given.query["limit"], begins_after(given.query, str)
        found = {kept.key: kept.document for kept in records.listed(self.kind, after=after, limit=limit + 1)}
        built_in = self.built_in()
        for key in built_in:
            if key > after:
                found.setdefault(key, built_in[key])
        return Answer(page(sorted(found), limit, found.__getitem__, str))

    def _create(self, given: Given) -> Answer:
        document = self.normal(given.body)
        key = self.key_of(document)
        try:
            kept = self._write(given, document, expected=0)
        except StaleRevision:
            raise ProblemError(
                409,
                "It is there already",
                f"there is a {self.noun} {key!r} already; change it with PUT and If-Match",
                kind=EXISTS,
                errors=[FieldError(f"/{self.key_field}", "another name is wanted")],
            ) from None
        return Answer(
            self._answer(document), 201, {**_tag(kept), "Location": f"/v1/{self.path}/{_quoted(key)}"}
        )

    def _read(self, key: str) -> Answer:
        kept = records.find(self.kind, key)
        if kept is not None:
            return Answer(kept.document, 200, _tag(kept))
        built_in = self.built_in().get(key)
        if built_in is not None:
            return Answer(built_in, 200, {"ETag": '"0"'})
        raise self._missing(key)

    def _replace(self, given: Given, key: str) -> Answer:
        document = self.normal(given.body)
        if self.key_of(document) != key:
            raise not_valid([FieldError(f"/{self.key_field}", self._disagrees(document, key))])
        standing = records.find(self.kind, key)
        expected = self._expected(standing)
        try:
            kept = self._write(given, document, expected=expected)
        except StaleRevision as stale:
            raise self._stale(stale.kept) from None
        return Answer(self._answer(document), 200 if standing else 201, _tag(kept))

    def _answer(self, document: dict[str, Any]) -> dict[str, Any]:
        if self.told is None:
            return document
        return {**document, "findings": FindingSchema(many=True).dump(self.told(document))}

    def _disagrees(self, document: dict[str, Any], key: str) -> str:
        said = f"must agree with the address: {key!r}"
        if "/" not in self.address:
            return said
        wanted = self.key_of(document)
        return f"{said}; the address of a {self.noun} is {self.address}, so here /v1/{self.path}/{wanted}"

    def _delete(self, given: Given, key: str) -> Answer:
        standing = records.find(self.kind, key)
        if standing is None:
            raise self._missing(key)
        expected = self._expected(standing)
        if (user := self.used_by(key)) is not None:
            raise ProblemError(
                409, "It is still in use", f"the {self.noun} {key!r} is still named by {user}", kind=IN_USE
            )
        try:
            records.remove(self.kind, key, by=given.caller.name, now=given.now, expected=expected)
        except StaleRevision as stale:
            raise self._stale(stale.kept) from None
        return Answer(status=204)

    def _with_copy(self, problem: ProblemError, given: Given, key: str) -> ProblemError:
        """Keep a write that came too late as a copy that a person can see."""
        based_on = _whole_tag()
        if problem.kind != STALE or self.kind not in records.VERSIONED or based_on is None:
            return problem
        document = self.normal(given.body)
        copy = records.keep_stale(
            self.kind, key, document, based_on=based_on, by=given.caller.name, now=given.now
        )
        problem.members = {**problem.members, "kept_copy": copy}
        return problem

    def keep(self, document: dict[str, Any], *, by: str, now: datetime, expected: int | None = None) -> Kept:
        """Write a document that was made by :meth:`normal`; what follows it to its site goes along.

        Raises
        ------
        StaleRevision
            When another revision stands than `expected`.
        """
        key, site = self.key_of(document), self.site_of(document)
        with records.writing():
            kept = records.write(self.kind, key, document, site=site, by=by, now=now, expected=expected)
            for kind in self.followers:
                for other in records.listed(kind):
                    if other.document[self.kind] == key:
                        records.move(kind, other.key, site, now=now)
        return kept

    def _write(self, given: Given, document: dict[str, Any], expected: int) -> Kept:
        return self.keep(document, by=given.caller.name, now=given.now, expected=expected)

    def _expected(self, standing: Kept | None) -> int:
        """The revision to hold to, after If-Match and If-None-Match were heard."""
        wanted = request.headers.get("If-Match")
        revision = standing.revision if standing else 0
        if "*" in request.headers.get("If-None-Match", "") and standing is not None:
            raise self._stale(standing)
        if wanted is None:
            if standing is not None:
                raise ProblemError(
                    428,
                    "Precondition Required",
                    f'the {self.noun} is there already: If-Match: "{revision}" is wanted, '
                    "the ETag of the state that the change is based on",
                    kind=REVISION_WANTED,
                )
            return 0
        star = request.if_match.star_tag
        if (star and standing is None) or not (star or request.if_match.contains(str(revision))):
            raise self._stale(standing)
        return revision

    def _stale(self, standing: Kept | None) -> ProblemError:
        revision = standing.revision if standing else None
        now = "there is none now" if revision is None else f"it stands at revision {revision}"
        return ProblemError(
            412,
            "Precondition Failed",
            f"the {self.noun} was changed meanwhile: {now}; read it again and decide",
            kind=STALE,
            members={"revision": revision},
            headers=_tag(standing) if standing else {},
        )

    def _missing(self, key: str) -> ProblemError:
        lacks = "/" in self.address and "/" not in key
        hint = f"; the address of a {self.noun} is {self.address}" if lacks else ""
        return not_found(f"there is no {self.noun} {key!r}{hint}")


def _whole_tag() -> int | None:
    """The one revision that If-Match names."""
    tags = [tag for tag in request.if_match.as_set() if tag.isascii() and tag.isdigit() and len(tag) < 10]
    return int(tags[0]) if len(tags) == 1 else None


def _tag(kept: Kept) -> dict[str, str]:
    return {"ETag": f'"{kept.revision}"'}


def _quoted(key: str) -> str:
    return quote(key, safe="/")
