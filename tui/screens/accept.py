"""Accepting a plan: what is accepted and what changed since the last time, who accepts it and why."""

from __future__ import annotations

from typing import ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.events import Resize
from textual.message import Message
from textual.worker import get_current_worker

from pathway.children.kept_plans import AcceptedLast
from pathway.events import diff
from pathway.protocol.model import Protocol
from pathway.questions.followup import Preview
from pathway.questions.record_diff import entered, event_words
from pathway.record import Record
from pathway.views.words.accepting import what_is_accepted
from tui import keys, planner, saving_words, why_not
from tui.opened import ChildList
from tui.screens.base import ChildScreen
from tui.widgets import frame
from tui.widgets.prose import Prose
from tui.widgets.who_and_why import WhoAndWhy

FIRST_WHY = "Why? (kept with the plan; may stay empty, as no plan was accepted before)"
AGAIN_WHY = "Why again? (kept with the plan; may stay empty, as nothing changed)"
FILE_WHY = "Why this course? (kept in the file with the choice)"
CHANGED_WHY = "Why is it revised? (kept with the plan)"
EXAMPLE = "for example: agreed with the family at the visit"
NEEDS_REASON = "The plan is not the one accepted last: type why it is revised, in a few words. Escape leaves it."
NEEDS_WHY = "A choice that is kept in a file needs a reason: type why, in a few words. Escape leaves it."
CHANGED = "The plan changed while this page was open. Look at it again, then press Enter."
NO_COURSE = "No course is planned, and a case file can only keep the choice of one. Escape goes back."
NOT_KEPT = "Accept (not kept)"
LONGEST_REASON = 3
"""How many of the facts entered since stand in a reason that is offered."""


class AcceptScreen(ChildScreen):
    """What is accepted below, who and why above it; Enter keeps it."""

    BINDINGS: ClassVar[list[BindingType]] = [*keys.ACCEPT]
    HELP_HEAD = "Accept"
    DEFAULT_CSS = """
    AcceptScreen #plan { height: 1fr; padding: 0 1; margin: 1 0 0 0; }
    """

    class Explained(Message):
        """What changed since the plan accepted last, with the facts behind it."""

        def __init__(self, of: Record, changed: Preview) -> None:
            self.of = of
            self.changed = changed
            super().__init__()

    def __init__(self, child: str, stage: str | None = None) -> None:
        super().__init__(child, stage)
        self._of: Record | None = None
        self.changed: Preview | None = None

    def compose(self) -> ComposeResult:
        """Lay out title, caution, who, why, what is accepted, keys."""
        yield frame.Title(f"{self.child}: accept the plan")
        yield frame.Caution()
        yield frame.Notice(id="where", calm=True)
        yield WhoAndWhy("accepts", FIRST_WHY, EXAMPLE, self.home.decider)
        yield frame.Notice(id="notice")
        yield Prose(id="plan", panel=True, focus=False)
        yield frame.keys()

    def on_mount(self) -> None:
        """Show what is accepted."""
        storage = self.home.storage
        if storage is None:
            self.query_one("#where", frame.Notice).say(saving_words.EXAMPLE[0])
        elif storage.plans is None:
            self.query_one("#where", frame.Notice).say(saving_words.IN_A_FILE[0])
        self.show_stage()

    def children_changed(self, child_list: ChildList, name: str | None) -> None:
        """Show the plan as it is now; who had read another one is told."""
        if name == self.child and self._record != self._of:
            self.query_one("#notice", frame.Notice).say(CHANGED if self._of is not None else "")
            self.show_stage()

    @property
    def last(self) -> AcceptedLast | None:
        """Return the plan that was accepted last, None where none was or none is kept."""
        storage = self.home.storage
        return None if storage is None or storage.plans is None else storage.plans.accepted(self.child)

    @property
    def _in_a_file(self) -> bool:
        """Return whether the child is kept where decisions are kept and no plans."""
        storage = self.home.storage
        return storage is not None and storage.plans is None

    @property
    def _record(self) -> Record | None:
        """Return what the plan that stands was made of, None while one is being made."""
        session = self.home.child_list[self.child].session
        return None if session is None or session.plan is None else session.record

    def show_stage(self) -> None:
        """Show what would be accepted now, and ask for the reason that it needs."""
        self._of, self.changed = self._record, None
        plan, last, rules = self.plan, self.last, self.home.rules
        if plan is None or rules is None:
            self.query_one("#plan", Prose).say(())
            return
        if last is not None and self._of is not None:
            self._compare(last, rules)
        self._ask(rules)
        self._say()

    def _compare(self, last: AcceptedLast, rules: Protocol) -> None:
        plan, record = self.plan, self._of
        assert plan is not None
        assert record is not None
        try:
            before = planner.Side(last.record, last.plan())
        except ValueError:  # of another version of the program: what is in it can no longer be compared
            return
        now = planner.Side(record, plan)
        self.changed = next(planner.between(before, now, rules, lambda: False))
        if self.changed.changes:
            self._explain(before, now, rules)

    def _ask(self, rules: Protocol) -> None:
        asked = self.query_one(WhoAndWhy)
        if self._in_a_file:
            asked.offer(FILE_WHY, "")
        elif self.last is None:
            asked.offer(FIRST_WHY, "")
        elif self.changed is not None and not self.changed.changes:
            asked.offer(AGAIN_WHY, "")
        else:
            asked.offer(CHANGED_WHY, self._facts(rules))

    def _facts(self, rules: Protocol) -> str:
        """Return what was entered since the plan accepted last, as the reason that is offered."""
        entry, last = self.home.child_list[self.child], self.last
        if entry.unsaved:
            return saving_words.reason_of(entry)
        if last is None or self._of is None:
            return ""
        events = entered(diff(last.record, self._of), last.record)
        words = [event_words(event, last.record, rules) for event in events]
        more = f" and {len(words) - LONGEST_REASON} more" if len(words) > LONGEST_REASON else ""
        return f"Entered since: {'; '.join(words[:LONGEST_REASON])}{more}" if words else ""

    def _say(self) -> None:
        plan, entry = self.plan, self.home.child_list[self.child]
        if plan is not None:
            unsaved = saving_words.reason_of(entry).split("; ") if entry.unsaved and self.home.storage else ()
            said = what_is_accepted(plan, unsaved, saving_words.accepted(self.last), self.changed)
            self.query_one("#plan", Prose).say(said, top=False)

    @work(thread=True, exclusive=True, exit_on_error=False)
    def _explain(self, before: planner.Side, now: planner.Side, rules: Protocol) -> None:
        worker = get_current_worker()
        for changed in planner.between(before, now, rules, lambda: not worker.is_cancelled):
            self.post_message(self.Explained(now.record, changed))

    def on_accept_screen_explained(self, event: Explained) -> None:
        """Show the facts behind the changes; those of an older plan are dropped."""
        if event.of == self._of:
            self.changed = event.changed
            self._say()

    def on_resize(self, _event: Resize) -> None:
        """Wrap anew."""
        self._say()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Return whether an action can be done now: only a plan that is there can be accepted."""
        if action == "accept_it":
            return self._record is not None
        return action not in ("undo", "redo", "save") and super().check_action(action, parameters)

    def words_of(self, binding: Binding) -> str:
        """Say beside the key whether what is accepted is kept."""
        return NOT_KEPT if binding.action == "accept_it" and self.home.storage is None else super().words_of(binding)

    def why_not(self, action: str) -> str:
        """Return why an action cannot be done now."""
        if action == "accept_it":
            return why_not.without_plan(self.home.child_list[self.child])
        return super().why_not(action)

    def action_who(self) -> None:
        """Change who accepts."""
        self.query_one(WhoAndWhy).turn()

    def action_accept_it(self) -> None:
        """Keep the plan as accepted, where the reason that it needs is there."""
        asked, plan = self.query_one(WhoAndWhy), self.plan
        wrong = ""
        if self._record != self._of:
            wrong = CHANGED
        elif self._in_a_file and plan is not None and plan.recommended is None:
            wrong = NO_COURSE
        elif not asked.reason and self._needs_reason:
            wrong = NEEDS_WHY if self._in_a_file else NEEDS_REASON
        if wrong:
            self.query_one("#notice", frame.Notice).say(wrong)
            return
        reason, who = asked.reason, asked.who
        self.home.go_back()
        self.home.accept(self.child, reason, who)

    @property
    def _needs_reason(self) -> bool:
        """Return whether a reason must be given: a revision needs one, and a decision in a case file."""
        if self._in_a_file:
            return True
        return self.last is not None and (self.changed is None or bool(self.changed.changes))

    def action_scroll(self, by: int) -> None:
        """Scroll what is accepted by a line."""
        self.query_one("#plan", Prose).scroll_relative(y=by, animate=False)

    def action_page(self, by: int) -> None:
        """Scroll what is accepted by a page."""
        prose = self.query_one("#plan", Prose)
        prose.scroll_relative(y=by * max(1, prose.size.height - 2), animate=False)
