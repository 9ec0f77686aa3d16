"""The children open on the screens, as plain frozen values: no screen in here.

A `Session` is one child with its edits; a `ChildList` is the list of children with a plan or what is wrong.
"""

from __future__ import annotations

import datetime
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from pathway.events import Event, apply, diff, rebase
from pathway.plan.model import Plan
from pathway.record import Record
from pathway.views.words.children import (
    Row,
    as_unsaved,
    matching,
    plan_row,
    problem_row,
    summary_row,
    waiting_row,
)
from pathway.views.words.due import DueRow, due_rows


class NothingToDo(Exception):
    """There is nothing to undo or redo."""


@dataclass(frozen=True, slots=True)
class Edit:
    """One change in the user's words: the record before it, the events entered, the record after them."""

    sentence: str
    before: Record
    events: tuple[Event, ...]
    after: Record


@dataclass(frozen=True, slots=True)
class Session:
    """One child: the record as it stands, its plan (None until made), edits done and undone (last is newest)."""

    record: Record
    plan: Plan | None = None
    done: tuple[Edit, ...] = ()
    undone: tuple[Edit, ...] = ()


def edit(session: Session, sentence: str, events: Iterable[Event]) -> Session:
    """Return the session with events added to the record; the plan is to be made anew, redo starts afresh."""
    entered = tuple(events)
    after = apply(session.record, entered)
    return Session(after, None, (*session.done, Edit(sentence, session.record, entered, after)))


def undo(session: Session) -> Session:
    """Return the session before its last edit; raises NothingToDo without one."""
    if not session.done:
        raise NothingToDo("nothing to undo")
    last = session.done[-1]
    return Session(last.before, None, session.done[:-1], (*session.undone, last))


def redo(session: Session) -> Session:
    """Return the session with the last undone edit done again; raises NothingToDo without one."""
    if not session.undone:
        raise NothingToDo("nothing to redo")
    last = session.undone[-1]
    return Session(last.after, None, (*session.done, last), session.undone[:-1])


def planned(session: Session, plan: Plan) -> Session:
    """Return the session with its finished plan."""
    return replace(session, plan=plan)


@dataclass(frozen=True, slots=True)
class Entry:
    """A child on the list: its file, and either a session, or sentences that say why there is none yet.

    `shown` is the last plan that was made, `shown_of` its record: it stays on the screens until the next one is
    there; `compared` says whether it holds the courses that it is compared with. `told` says what the last edit made
    of the plan. `kept` is the record as it was read or saved last. `summary` is what lists need of the plan, None where
    only the plan is known. `listed` is the line of the child as far as it is known: one that is known without planning
    is planned when it is `opened`. `accepted` is the day on which the team accepted a plan, where it did; `keeps`
    whether somebody keeps that.
    """

    name: str
    text: str
    session: Session | None = None
    problems: tuple[str, ...] = ()
    shown: Plan | None = None
    shown_of: Record | None = None
    compared: bool = False
    told: tuple[str, ...] = ()
    kept: Record | None = None
    summary: Mapping[str, Any] | None = None
    listed: Row | None = None
    opened: bool = False
    accepted: datetime.date | None = None
    keeps: bool = False

    @property
    def plan(self) -> Plan | None:
        """Return the plan to show, or None where none was made (yet)."""
        return (self.session.plan if self.session else None) or self.shown

    @property
    def waiting(self) -> bool:
        """Return whether a plan is still to come."""
        known = self.session is None and self.listed is not None and not self.opened
        return (self.session is None or self.session.plan is None) and not self.problems and not known

    @property
    def comparable(self) -> bool:
        """Return whether a plan stands that was not compared with other courses."""
        return self.session is not None and self.session.plan is not None and not self.compared

    @property
    def unsaved(self) -> bool:
        """Return whether something was changed since it was read or saved last."""
        return self.session is not None and self.kept is not None and self.session.record != self.kept

    @property
    def unsaved_events(self) -> tuple[Event, ...]:
        """Return what is to be saved: the events entered since the last saving, or those that take back what was."""
        if self.session is None or self.kept is None:
            return ()
        done = self.session.done
        since = next((at for at, one in enumerate(done) if one.before == self.kept), None)
        if since is None:
            return diff(self.kept, self.session.record)
        return tuple(event for one in done[since:] for event in one.events)


@dataclass(frozen=True, slots=True)
class ChildList:
    """All children, in the order of their names."""

    entries: tuple[Entry, ...] = ()

    def __getitem__(self, name: str) -> Entry:
        """Return the child of that name; raises KeyError where there is none."""
        for entry in self.entries:
            if entry.name == name:
                return entry
        raise KeyError(name)

    def with_plan(
        self,
        name: str,
        record: Record,
        plan: Plan,
        told: Iterable[str] = (),
        summary: Mapping[str, Any] | None = None,
        *,
        compared: bool = False,
        accepted: datetime.date | None = None,
    ) -> ChildList:
        """Return the list with a child's finished plan; edits made before stay, `told` says what became of the last.

        `accepted` is the day on which a plan was accepted last, as it is known now that the child was read.

        A plan of a record that was edited meanwhile is not taken: the child is still to be planned.
        """
        entry = self[name]
        session = entry.session or Session(record)
        if session.record != record:
            return self
        made = replace(
            entry,
            session=planned(session, plan),
            problems=(),
            shown=plan,
            shown_of=record,
            compared=compared,
            told=tuple(told) or entry.told,
            kept=entry.kept or record,
            summary=summary,
            accepted=accepted or entry.accepted,
        )
        return self._with(_listed(made, plan))

    def with_problems(self, name: str, problems: Iterable[str]) -> ChildList:
        """Return the list with the sentences that say why a child has no plan.

        Where an edit led there, it is taken back, and the sentences say so: the plan before it stands again, where one
        was made of that record, else it is made.
        """
        entry, said = self[name], tuple(problems)
        if entry.session is None or not entry.session.done:
            return self._with(replace(entry, session=None, problems=said))
        last = entry.session.done[-1]
        plan = entry.shown if entry.shown_of == last.before else None
        before = Session(last.before, plan, entry.session.done[:-1], (*entry.session.undone, last))
        told = (f"Not done: {last.sentence}.", *said)
        # The next plan is told under the first sentence alone.
        return self._with(replace(entry, session=before, told=told if plan is not None else (" ".join(told),)))

    def not_compared(self, name: str, problems: Iterable[str]) -> ChildList:
        """Return the list with the sentences that say why the courses of a plan that stands were not compared."""
        return self._with(replace(self[name], compared=True, told=tuple(problems)))

    def edited(self, name: str, sentence: str, events: Iterable[Event]) -> ChildList:
        """Return the list with events added to a child's record; raises KeyError for a child without a session."""
        return self._with_session(name, edit(self._session(name), sentence, events), f"{sentence} …")

    def undone(self, name: str) -> ChildList:
        """Return the list with a child's last edit undone; raises NothingToDo where there is none."""
        session = self._session(name)
        changed = undo(session)
        return self._with_session(name, changed, f"Undone: {session.done[-1].sentence}.")

    def redone(self, name: str) -> ChildList:
        """Return the list with a child's last undone edit done again; raises NothingToDo where there is none."""
        session = self._session(name)
        changed = redo(session)
        return self._with_session(name, changed, f"Done again: {changed.done[-1].sentence}.")

    def opening(self, name: str) -> ChildList:
        """Return the list with a child to be planned that was only listed, or could not be read before."""
        entry = self[name]
        problems = entry.problems if entry.text else ()
        return self._with(replace(entry, opened=True, problems=problems))

    def telling(self, name: str, told: Iterable[str]) -> ChildList:
        """Return the list with what is to be said of a child."""
        return self._with(replace(self[name], told=tuple(told)))

    def saved(self, name: str, record: Record, told: Iterable[str], accepted: datetime.date | None = None) -> ChildList:
        """Return the list with a record that is kept now; edits stay and can still be undone.

        `accepted` is the day on which the plan was kept with it as accepted, None where it was not.
        """
        entry = replace(self[name], kept=record, told=tuple(told))
        if accepted is not None:
            summary = None if entry.summary is None else {**entry.summary, "as_accepted": True}
            entry = replace(entry, accepted=accepted, summary=summary)
        return self._with(entry if entry.plan is None else _listed(entry, entry.plan))

    def overtaken(self, name: str, theirs: Record, told: Iterable[str]) -> ChildList:
        """Return the list with the record of others as the kept one and one's own changes as one edit on top."""
        mine = rebase(self[name].unsaved_events, theirs)
        session = Session(theirs)
        if mine:
            session = edit(session, "Own changes on top of what others saved", mine)
        return self._with(replace(self[name], session=session, kept=theirs, told=tuple(told)))

    def _session(self, name: str) -> Session:
        session = self[name].session
        if session is None:
            raise KeyError(name)
        return session

    def _with_session(self, name: str, session: Session, told: str) -> ChildList:
        return self._with(replace(self[name], session=session, told=(told,)))

    def next_to_plan(self, wanted: str | None, compared: Collection[str] = ()) -> Entry | None:
        """Return the child to plan next: the one that is wanted first, then in order; None when all are done.

        The plans of the children `compared` are made again with the courses that they are compared with.
        """
        open_ones = [entry for entry in self.entries if entry.waiting or (entry.name in compared and entry.comparable)]
        return next((e for e in open_ones if e.name == wanted), open_ones[0] if open_ones else None)

    def found(self, text: str) -> tuple[Row, ...]:
        """Return the rows that hold every word typed, by name."""
        return matching((row(entry) for entry in self.entries), text)

    def due(self, on: datetime.date, months: int) -> tuple[DueRow, ...]:
        """Return what children need until so many months after a day, overdue first, as `registry due` lists it."""
        asked = ((entry.name, entry.summary) for entry in self.entries if not entry.problems)
        return due_rows(((name, summary) for name, summary in asked if summary is not None), on, months)

    def _with(self, changed: Entry) -> ChildList:
        return ChildList(tuple(changed if entry.name == changed.name else entry for entry in self.entries))


def child_list(files: Mapping[str, str]) -> ChildList:
    """Return the list of case files by name; nothing is planned yet."""
    return ChildList(tuple(Entry(name, files[name]) for name in sorted(files)))


def row(entry: Entry) -> Row:
    """Return a child's line on the list."""
    if entry.problems:
        what = "the file cannot be read" if entry.text else "cannot be read"
        return problem_row(entry.name, entry.problems[0], what)
    return waiting_row(entry.name) if entry.listed is None else as_unsaved(entry.listed, unsaved=entry.unsaved)


def _listed(entry: Entry, plan: Plan) -> Entry:
    """Return a child with the line that its plan gives it."""
    if entry.summary is None:
        return replace(entry, listed=plan_row(entry.name, plan))
    line = summary_row(entry.name, entry.summary, plan.on, accepted=entry.accepted, kept=entry.keeps)
    return replace(entry, listed=line)
