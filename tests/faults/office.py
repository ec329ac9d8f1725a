"""What happens at the centre in a story: backups, machines that change, and people who put right."""

from __future__ import annotations

import random
from typing import TYPE_CHECKING, Any, Final

from service.store import records
from service.store.database import connected, database, is_postgresql
from tests.faults.centres import MANY, CentreStore, hang_up
from tests.faults.reckoning import EDGES
from tests.service.shop import machine

if TYPE_CHECKING:
    from flask import Flask

    from tests.faults.floor import Bench


_NOTHING_LEFT: Final = {
    "log.withdrawn": "withdrawn or dismissed before",
    "offcut.stored": "on the rack already",
}
"""Why an event that waits may wait for ever, by its type."""


class Office:
    """The part of a world that sits at the centre."""

    chance: random.Random
    centre: CentreStore
    app: Flask
    admin: str
    machines: int
    backups: list[tuple[str, dict[str, tuple[int, dict[str, Any]]]]]
    benches: list[Bench]
    set_by_hand: dict[str, tuple[int, dict[str, Any]]]
    no_room: bool
    refused: set[str]

    if TYPE_CHECKING:

        def ask(self, method: str, path: str, document: Any = None) -> Any: ...
        def tell(self, words: str) -> None: ...
        def excuse_what_is_nowhere(self) -> None: ...
        def start_centre(self) -> None: ...
        def step(self, bench: Bench) -> None: ...

    def office(self) -> None:
        """Something happens at the centre."""
        self.chance.choice(
            [
                self.change_machine,
                self.back_up_centre,
                self.restore_centre,
                self.cure,
                self.settle_discrepancy,
                self.start_centre,
                self.set_blade,
                self.fill_disk,
            ]
        )()

    def change_machine(self) -> None:
        self.machines += 1
        document = {**machine(), "name": f"Bench shear, drawing {self.machines}"}
        etag = self.ask("GET", "/machines/bench-3m").headers["ETag"]
        answer = self.app.test_client().put(
            "/v1/machines/bench-3m",
            json=document,
            headers={"Authorization": f"Bearer {self.admin}", "If-Match": etag},
        )
        assert answer.status_code == 200, answer.text

    def back_up_centre(self) -> None:
        self.backups.append((self.centre.back_up(), dict(self.set_by_hand)))
        self.start_centre()
        self.tell("the centre is backed up")

    def restore_centre(self) -> None:
        if not self.backups or self.chance.random() < 0.5:
            return
        backup, self.set_by_hand = self.chance.choice(self.backups)
        self.set_by_hand = dict(self.set_by_hand)
        hang_up()
        self.centre.put_back(backup)
        self.start_centre()
        with connected():
            records.renew_epoch()
        self.tell(f"the centre is put back from backup {backup}")
        self.excuse_what_is_nowhere()

    def cure(self) -> None:
        """The machine that events lacked is entered, and what waits is tried again."""
        if self.ask("GET", "/machines/bench-4m").status_code == 404:
            assert self.ask("POST", "/machines", machine("bench-4m")).status_code == 201
        while items := self.ask("GET", "/sync/quarantine?limit=100").json["items"]:
            for item in items:
                path = f"/sync/quarantine/{item['id']}"
                answer = self.ask("POST", f"{path}/retry", {})
                if answer.status_code == 409:
                    # Its withdrawal waited before it, and was applied a moment ago.
                    assert answer.json["type"] == "/problems/withdrawn", answer.text
                elif answer.json["state"] != "applied":
                    # Two copies of a bench took the same entry back: the second has nothing left to do.
                    # And of two offcuts on the rack only one can have a name.
                    # What only a centre that was put back had is nowhere any more, and cannot be taken back.
                    kind = item["event"]["type"]
                    nowhere = item["event"]["payload"].get("event_id") in self.excused
                    left = "no entry of that event_id" if nowhere else _NOTHING_LEFT[kind]
                    assert left in answer.text, answer.text
                    words = {"words": "nothing is left to do"}
                    self.tell(f"{kind} is dismissed")
                    assert self.ask("POST", f"{path}/dismiss", words).status_code == 204
                    self.refused.add(item["event_id"])
        for item in self.ask("GET", "/sync/quarantine?limit=100&show=dismissed").json["items"]:
            answer = self.ask("POST", f"/sync/quarantine/{item['id']}/retry", {})
            if item["event_id"] not in self.refused:
                assert answer.status_code == 409, f"withdrawn, and yet tried again: {answer.text}"
        self.tell("cured")

    def set_blade(self) -> None:
        """Somebody enters what a blade is by now, or one on a machine that has none yet."""
        edges = [self.chance.randrange(50_000) / 1000 for _ in range(EDGES)]
        state = {
            "edges": EDGES,
            "edge": self.chance.randrange(1, EDGES + 1),
            "used_m": edges,
            "regrinds": self.chance.randrange(3),
            "edge_since": None,
        }
        items = self.ask("GET", "/blades").json["items"]
        if not items:
            document = {**state, "id": "BL-1", "machine": "bench-3m"}
            answer = self.ask("POST", "/blades", document)
        else:
            chosen = self.chance.choice(items)
            document = {**state, "id": chosen["id"], "machine": chosen["machine"]}
            path = f"/blades/{document['id']}"
            etag = self.ask("GET", path).headers["ETag"]
            answer = self.app.test_client().put(
                f"/v1{path}",
                json=document,
                headers={"Authorization": f"Bearer {self.admin}", "If-Match": etag},
            )
        assert answer.status_code in {200, 201}, answer.text
        with connected():
            kept = records.find("blade", document["id"])
        assert kept is not None
        self.set_by_hand[document["id"]] = kept.revision, state
        self.tell(f"blade {document['id']} is set by hand, revision {kept.revision}")

    def fill_disk(self) -> None:
        """The centre's disk runs full while the benches go on, and somebody makes room."""
        self.tell("the disk of the centre runs full")
        with connected():
            if is_postgresql():
                self.no_room = True
            else:
                ((pages,),) = database.execute_sql("PRAGMA page_count").fetchall()
                most = pages + self.chance.randrange(3)
                database.obj.pragma("max_page_count", most, permanent=True)
        for _ in range(self.chance.randrange(1, 6)):
            self.step(self.chance.choice(self.benches))
        self.no_room = False
        with connected():
            if not is_postgresql():
                database.obj.pragma("max_page_count", 1_000_000, permanent=True)
        self.tell("there is room at the centre again")

    def settle_discrepancy(self) -> None:
        """Somebody at the office looks into what does not add up."""
        items = self.ask("GET", "/sync/discrepancies?limit=100").json["items"]
        if not items:
            return
        found = self.chance.choice(items)
        looked: dict[str, Any] = {"words": "looked into"}
        if found["ref"] == "SH-A" and self.chance.random() < 0.5:
            looked["counted"] = MANY + self.chance.randrange(1000)
        answer = self.ask("POST", f"/sync/discrepancies/{found['id']}/settle", looked)
        assert answer.status_code == 200, answer.text
        counted = ", and the rack counted" if "counted" in looked else ""
        self.tell(f"a discrepancy is settled: {found['kind']}{counted}")
