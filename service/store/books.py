"""The records as one run of events sees them: read once, changed in memory, written down once.

A station that cut five hundred times has changed one blade, not five hundred. Revisions count every
change all the same; the feed is told once, of the last.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from datetime import datetime
from typing import Any, Final, TypeAlias

from service.store import bulk, cut_sums, records, steps, tally
from service.store.blade_states import set_by_hand
from service.store.database import Question, ask, together
from service.store.models import BladeSet, Discrepancy, Version
from service.store.records import Kept
from service.store.sums import Counted

_Place: TypeAlias = tuple[str, str]
Rows: TypeAlias = Iterable[tuple[Any, ...]]


class Books:
    """Records, discrepancies and sums that wait to be written, within the caller's transaction."""

    def __init__(self) -> None:
        self._now: dict[_Place, Kept | None] = {}
        self._before: dict[_Place, Kept | None] = {}
        self._when: dict[_Place, datetime] = {}
        self._wanted: set[_Place] = set()
        self._blades: dict[str, str] | None = None
        self._undo: list[tuple[_Place, Kept | None]] = []
        self._discrepancies: list[dict[str, Any]] = []
        self._kept_discrepancies = 0
        self._versions: list[dict[str, Any]] = []
        self._kept_versions = 0
        self._begun: list[dict[str, Any]] = []
        self._kept_begun = 0
        self._counted: list[Counted] = []
        self._steps: dict[steps.Place, steps.Sum] = {}
        self._steps_added: dict[steps.Place, steps.Sum] = {}
        self._plans_asked: set[str] = set()

    def expecting(self, places: Iterable[tuple[str, str]]) -> tuple[Question, Question]:
        """The questions for records that will be asked for, and for all blades; see :meth:`expected`."""
        self._wanted = {place for place in places if place not in self._now}
        kinds, keys = {kind for kind, _ in self._wanted}, {key for _, key in self._wanted}
        return records.asked_for(kinds, keys), records.asked_for_all("blade")

    def expected(self, found: Rows, blades: Rows) -> None:
        """Take in what those questions were answered."""
        self._now.update(dict.fromkeys(self._wanted))
        for kept in records.read(found):
            if (kept.kind, kept.key) in self._wanted:
                self._now[kept.kind, kept.key] = kept
        self._before.update({place: self._now[place] for place in sorted(self._wanted)})
        self._take_blades(blades)

    def find(self, kind: str, key: str, *, deleted_too: bool = False) -> Kept | None:
        """The record of that kind and key as it stands by now."""
        place = kind, key
        if place not in self._now:
            self._now[place] = self._before[place] = records.find(kind, key, deleted_too=True)
        kept = self._now[place]
        return None if kept is None or (kept.deleted and not deleted_too) else kept

    def plan(self, plan_id: str) -> Mapping[str, Any] | None:
        """The document of a plan that is known here, or was."""
        kept = self.find("plan", plan_id, deleted_too=True)
        return None if kept is None else kept.document

    def blade_on(self, machine: str) -> Kept | None:
        """The blade at work on a machine."""
        if self._blades is None:
            sql, given = records.asked_for_all("blade")
            self._take_blades(ask(sql, *given))
        key = (self._blades or {}).get(machine)
        return None if key is None else self.find("blade", key)

    def _take_blades(self, rows: Rows) -> None:
        self._blades = {}
        for kept in records.read(rows):
            if (kept.kind, kept.key) not in self._now:
                # What is known of it already may have been changed since, and waits to be written.
                self._now[kept.kind, kept.key] = self._before[kept.kind, kept.key] = kept
            self._blades.setdefault(kept.document["machine"], kept.key)

    def write(
        self, kind: str, key: str, document: dict[str, Any], *, site: str | None, by: str, now: datetime
    ) -> Kept:
        """Change or make a record."""
        place = kind, key
        before = self.find(kind, key, deleted_too=True)
        revision = before.revision + 1 if before else 1
        run_from = before.run_from if before and before.changed_by == by else revision
        by_hand, counted_at = (before.by_hand, before.counted_at) if before else (None, None)
        kept = Kept(kind, key, site, revision, False, document, by, run_from, by_hand, counted_at)
        self._undo.append((place, before))
        if kind in records.VERSIONED:
            self._versions.append(records.version_of(kept, now))
        self._now[place] = kept
        self._when[place] = now
        if kind == "blade" and self._blades is not None:
            self._blades.setdefault(document["machine"], key)
        return kept

    def begin_blade(self, name: str, document: Mapping[str, Any]) -> None:
        """Note that a blade is begun, whatever had its name before; its first event writes its record."""
        before = self.find("blade", name, deleted_too=True)
        row = set_by_hand(name, 0 if before is None else before.revision, None, document)
        self._begun += [] if row is None else [row]

    def pieces_cut(self, cut: steps.Cut) -> steps.Sum:
        """Pieces of a step that were cut so far, and those that the plan has."""
        if cut.plan_id not in self._plans_asked:
            self._plans_asked.add(cut.plan_id)
            self._steps.update(steps.sums_of(cut.plan_id))
        return self._steps.get(cut.place, steps.NOTHING)

    def note_discrepancy(self, **noted: Any) -> None:
        """Note what does not add up; what is not named stays empty."""
        self._discrepancies.append({**_NOTHING_NOTED, **noted})

    def knows_open(self, kind: str, plan_id: str, step: int) -> bool:
        """Whether a discrepancy of that kind is open for a step already."""
        place = kind, plan_id, step
        if any((one["kind"], one["plan_id"], one["step"]) == place for one in self._discrepancies):
            return True
        rows = Discrepancy.select().where(
            Discrepancy.kind == kind,
            Discrepancy.plan_id == plan_id,
            Discrepancy.step == step,
            Discrepancy.settled_at.is_null(),
        )
        return bool(rows.exists())

    def accept(self, counted: Counted | None, cut: steps.Cut | None) -> None:
        """Let stand what was done since the last event, which is to be counted in sums and steps."""
        self._undo.clear()
        if cut is not None:
            self._add_cut(cut)
        self._kept_discrepancies = len(self._discrepancies)
        self._kept_versions = len(self._versions)
        self._kept_begun = len(self._begun)
        if counted is not None:
            self._counted.append(counted)

    def _add_cut(self, cut: steps.Cut) -> None:
        so_far, place = self.pieces_cut(cut), cut.place
        self._steps[place] = so_far.with_cut(cut)
        self._steps_added[place] = self._steps_added.get(place, steps.NOTHING).with_cut(cut)

    def undo(self) -> None:
        """Take back what was done since the last event."""
        for place, kept in reversed(self._undo):
            self._now[place] = kept
        self._undo.clear()
        del self._discrepancies[self._kept_discrepancies :]
        del self._versions[self._kept_versions :]
        del self._begun[self._kept_begun :]
        if self._blades is not None:
            gone = [machine for machine, key in self._blades.items() if self._now["blade", key] is None]
            for machine in gone:
                del self._blades[machine]

    def close(self, besides: Callable[[], None] | None = None) -> None:
        """Write everything down, and `besides` what is to be sent together with it."""
        # Reckoned while PostgreSQL still takes in the events; sent first, as it is busy with it for longest.
        add_worn = cut_sums.adding(cut_sums.added_up(self._counted))
        bulk.insert(Discrepancy, self._discrepancies)
        bulk.insert(Version, self._versions)
        bulk.insert(BladeSet, self._begun)
        with together():
            add_worn()
            # The feed tells of them in the order they were first touched, which the events decide.
            for place, before in self._before.items():
                kept = self._now[place]
                if kept is not None and kept is not before:
                    records.write_kept(before, kept, now=self._when[place])
            tally.add_all(tally.added_up(self._counted))
            steps.add_all(self._steps_added)
            if besides is not None:
                besides()


_NOTHING_NOTED: Final = dict.fromkeys(
    ("ref", "taken", "on_the_books", "plan_id", "step", "pieces_cut", "pieces_planned", "differs", "makers")
)
