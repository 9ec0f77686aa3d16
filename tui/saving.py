"""The part of the app that lists and saves children where they are kept; all of it off the screen's own thread."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, ClassVar

from textual import work
from textual.app import App
from textual.binding import BindingType
from textual.message import Message
from textual.notifications import SeverityLevel

from pathway.children.kept_plans import Accepter
from pathway.children.storage import Listed, SaveConflict, Saved, SaveFailed, Storage, save_failed
from pathway.events import Event
from pathway.plan.model import Plan
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.questions import decisions
from pathway.questions.decisions import Who
from pathway.record import Record
from pathway.views.words.caution import of_children
from pathway.views.words.children import Row
from tui import keys, planner, saving_words
from tui.opened import ChildList, Entry
from tui.screens.base import ChildScreen, OwnScreen

if TYPE_CHECKING:
    from pathway.worksheets.sheet import Sheet

SHOWN_SECONDS = 8
READING = "Reading the children …"
EMPTY = (
    "No children are stored in {place} yet. n or Enter begins one; `limb-pathway registry import FILE` takes in files."
)


class SavingApp(App[None]):
    """An app with a list of children and, where there is one, a storage of them."""

    BINDINGS: ClassVar[list[BindingType]] = [keys.QUIT]

    class Found(Message):
        """The children of the storage, or why they cannot be listed."""

        def __init__(
            self,
            found: tuple[Listed, ...] | str,
            rules: Protocol | None = None,
            rows: Mapping[str, Row | None] | None = None,
        ) -> None:
            self.found = found
            self.rules = rules
            self.rows = rows or {}
            super().__init__()

    class Answered(Message):
        """What became of saving a child's record."""

        def __init__(
            self, name: str, record: Record, answer: Saved | SaveConflict | SaveFailed, *, accepting: bool
        ) -> None:
            self.name = name
            self.accepting = accepting
            self.record = record
            self.answer = answer
            super().__init__()

    def __init__(
        self, child_list: ChildList, on: datetime.date, rules: Protocol | None, storage: Storage | None
    ) -> None:
        super().__init__()
        self.child_list = child_list
        self.on = on
        self.rules = rules
        self.storage = storage
        self.listing = READING if storage is not None else ""
        self.unreadable = False
        """Whether the children of the storage could not be listed: none is begun there."""
        self.once = ""
        """What the list says once, until a child is opened from it."""
        self.drafts: dict[str, dict[str, str]] = {}
        self.sheets: dict[str, Sheet] = {}
        """The sheet of each child's osteotomy as it was worked out last on its screen."""
        self.decider: Who | None = None
        """Who decided last on the screens: the default of the next decision."""
        self._to_save: set[str] = set()
        self._in_hand: set[str] = set()
        self._leaving = False

    def show(self, child: str | None) -> None:
        """Tell the screens that a child, or the whole list, changed."""
        for screen in self.screen_stack:
            if isinstance(screen, OwnScreen) and screen.is_mounted:
                screen.children_changed(self.child_list, child)
                screen.say_invented()
                screen.refresh_bindings()

    def invented_on(self, screen: OwnScreen) -> str:
        """Return what to say of the child that a screen is about, or of all where it is about none."""
        shown = self.screen_stack[: self.screen_stack.index(screen) + 1] if screen in self.screen_stack else []
        about = next((one.child for one in reversed(shown) if isinstance(one, ChildScreen)), None)
        plans = [entry.plan for entry in self.child_list.entries if about in (None, entry.name)]
        return of_children(None if plan is None else plan.child.note for plan in plans)

    def say(self, child: str) -> None:
        """Say what became of saving a child also where the screen on top does not show it."""
        from tui.screens.leave import LeaveScreen
        from tui.screens.timeline import TimelineScreen

        top = self.screen
        if not isinstance(top, LeaveScreen) and not (isinstance(top, TimelineScreen) and top.child == child):
            told = "\n".join(self.child_list[child].told)
            loud: SeverityLevel = "warning" if self.child_list[child].unsaved else "information"
            self.notify(told, title=child, severity=loud, timeout=SHOWN_SECONDS, markup=False)

    def question(self, child: str, record: Record, rules: Protocol, on: datetime.date | None = None) -> Question:
        """Return what is asked of a child: with the plan accepted last, where a storage keeps one."""
        earlier = () if self.storage is None else self.storage.earlier(child)
        return Question(record, rules, on or self.on, earlier=earlier)

    def accepted_on(self, child: str) -> datetime.date | None:
        """Return the day on which a plan of a child was accepted last, as read or saved last; None where none was."""
        plans = None if self.storage is None else self.storage.plans
        last = None if plans is None else plans.accepted(child)
        return None if last is None else last.when

    @work(thread=True)
    def find_children(self) -> None:
        """List the children of the storage."""
        from pathway.problems import Refused
        from pathway.protocol.load import load_protocol

        assert self.storage is not None
        try:
            rules = self.rules or load_protocol()
            found = self.storage.listed(rules, self.on)
            rows = {item.name: saving_words.listed_row(item, self.on) for item in found}
            self.post_message(self.Found(found, rules, rows))
        except SaveFailed as error:
            self.post_message(self.Found(f"{error} Then open the program again."))
        except Refused as error:
            self.post_message(self.Found(f"The rules cannot be used. {error}"))

    def on_saving_app_found(self, event: Found) -> None:
        """Put the children on the list; those with a plan that is still true are planned when they are opened."""
        assert self.storage is not None
        if isinstance(event.found, str):
            self.listing, self.unreadable = event.found, True
        else:
            self.rules = event.rules
            self.listing = "" if event.found else EMPTY.format(place=self.storage.place)
            known = {entry.name: entry for entry in self.child_list.entries}
            for item in event.found:
                entry = known.get(item.name, Entry(item.name, ""))
                if entry.session is not None:  # opened meanwhile: it is known better than it is listed
                    known[item.name] = replace(entry, accepted=item.accepted, keeps=True)
                    continue
                known[item.name] = Entry(
                    item.name,
                    "",
                    summary=item.summary,
                    listed=event.rows.get(item.name),
                    opened=entry.opened,
                    told=entry.told,
                    accepted=item.accepted,
                    keeps=True,
                )
            self.child_list = ChildList(tuple(known[name] for name in sorted(known)))
        self.show(None)

    @property
    def unsaved(self) -> tuple[Entry, ...]:
        """Return the children with changes that are not saved, where they could be."""
        return tuple(entry for entry in self.child_list.entries if entry.unsaved) if self.storage is not None else ()

    @property
    def unkept(self) -> tuple[str, ...]:
        """Return the children for whom something is typed in a follow-up that is not kept yet, where it could be."""
        return tuple(sorted(name for name, typed in self.drafts.items() if typed)) if self.storage is not None else ()

    def save(self, child: str) -> None:
        """Save a child's changes with its plan; where the plan is still being made, as soon as it is there."""
        entry = self.child_list[child]
        if self.storage is None:
            self._say(child, saving_words.NOT_KEPT)
        elif child in self._in_hand:
            self._to_save.add(child)  # what was changed since
        elif not entry.unsaved:
            self._say(child, saving_words.NOTHING_NEW)
        elif entry.session is not None and self.rules is not None:
            self._say(child, saving_words.SAVING)
            plan = entry.session.plan
            if plan is None:
                self._to_save.add(child)
                return
            self._in_hand.add(child)
            record, events, reason = entry.session.record, entry.unsaved_events, saving_words.reason_of(entry)
            self._save(child, record, events, plan, self.rules, reason, compared=entry.compared)

    def accept(self, child: str, reason: str, by: Who) -> None:
        """Keep the plan of a child as accepted, with all that is not saved; where no plans are kept, as a decision."""
        entry = self.child_list[child]
        self.decider = by
        if self.storage is None:
            self._say(child, saving_words.NOT_KEPT)
        elif entry.session is None or entry.session.plan is None or self.rules is None or child in self._in_hand:
            self._say(child, saving_words.ACCEPT_LATER)
        elif self.storage.plans is None:
            course = entry.session.plan.recommended
            if course is not None:
                record = entry.session.record
                self.edit(child, *decisions.choose_course(record, course, reason, by, self.on))
                self.save(child)
        else:
            self._say(child, saving_words.SAVING)
            self._in_hand.add(child)
            record, events, plan = entry.session.record, entry.unsaved_events, entry.session.plan
            self._save(child, record, events, plan, self.rules, reason, compared=entry.compared, accepted_by=by)

    def edit(self, child: str, sentence: str, events: Iterable[Event]) -> None:
        """Add events to a child's record as one edit; the app plans it."""
        raise NotImplementedError

    def save_waiting(self, child: str) -> None:
        """Save a child that waited for its plan, or for an earlier saving."""
        entry = self.child_list[child]
        if child in self._in_hand:
            return  # what is asked for meanwhile is compared with what is being saved
        if child in self._to_save and (entry.session is None or entry.session.plan is not None):
            self._to_save.discard(child)
            if entry.unsaved:
                self.save(child)
            self._leave_later()

    @work(thread=True)
    def _save(
        self,
        child: str,
        record: Record,
        events: tuple[Event, ...],
        plan: Plan,
        rules: Protocol,
        reason: str,
        *,
        compared: bool,
        accepted_by: Accepter = "",
    ) -> None:
        """Save with the plan as a revision, which also keeps the courses that it was compared with."""
        assert self.storage is not None
        answer: Saved | SaveConflict | SaveFailed
        try:
            if not compared:
                whole = planner.make_from(child, self.question(child, record, rules), True)
                plan = whole.plan if isinstance(whole, planner.Made) else plan
            answer = self.storage.save(child, events, plan, rules, reason, accepted_by)
        except SaveFailed as error:
            answer = error
        except Exception as error:  # a fault of ours must not end the session: it is said in place
            answer = save_failed(
                "", f"internal error while saving ({type(error).__name__}: {error})", "please report it"
            )
        self.post_message(self.Answered(child, record, answer, accepting=bool(accepted_by)))

    def on_saving_app_answered(self, event: Answered) -> None:
        """Say what became of it; changes made meanwhile stay to be saved."""
        child, answer = event.name, event.answer
        self._in_hand.discard(child)
        if isinstance(answer, Saved):
            self.child_list = self.child_list.saved(child, event.record, (answer.sentence,), answer.accepted)
        elif isinstance(answer, SaveFailed):
            self.child_list = self.child_list.telling(child, saving_words.refused(answer, accepting=event.accepting))
        else:
            assert self.storage is not None
            assert self.rules is not None
            told = saving_words.overtaken(answer.since, self.storage.place, accepting=event.accepting)
            self.child_list = self.child_list.overtaken(child, answer.theirs, told)
        self.show(child)
        self.say(child)
        if isinstance(answer, Saved):
            self.save_waiting(child)
        else:
            self._to_save.discard(child)
        if self._leaving and not self._in_hand and not self.unsaved and not self.unkept:
            self.exit()
        self._leave_later()

    def _leave_later(self) -> None:
        """Go on wishing to leave only while something is being saved: a later saving must not end the session."""
        self._leaving = self._leaving and bool(self._in_hand or self._to_save)

    def _say(self, child: str, told: tuple[str, ...]) -> None:
        self.child_list = self.child_list.telling(child, told)
        self.show(child)
        if told is not saving_words.SAVING:
            self.say(child)

    async def action_quit(self) -> None:
        """Leave; where something is not saved, ask first."""
        from tui.screens.leave import LeaveScreen

        if not (self.unsaved or self.unkept) or isinstance(self.screen, LeaveScreen):
            self.exit()
        else:
            self.push_screen(LeaveScreen())

    def save_and_leave(self) -> None:
        """Save every child with changes, then leave; where one cannot be saved, stay and say why."""
        self._leaving = True
        for entry in self.unsaved:
            self.save(entry.name)

    def stay(self) -> None:
        """Stay when saving is done: who asked to leave went back."""
        self._leaving = False
