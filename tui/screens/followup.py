"""Follow-up: a visit, an operation done or a decision, entered beside what it changes in the plan."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Container, Vertical
from textual.message import Message
from textual.timer import Timer
from textual.widgets import Input as TextLine
from textual.worker import get_current_worker

from pathway.events import Event
from pathway.growth import UNEXPECTED
from pathway.plan.model import Plan
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.questions.followup import Change, Preview
from pathway.record import Decision, Record
from pathway.views.pictures.picture import Role
from pathway.views.words.paragraphs import Paragraph
from tui import keys, planner
from tui.followup import entered as entering
from tui.followup import fields as followup_fields
from tui.followup.asked import all_findings, asked_next
from tui.followup.choices import choosing
from tui.followup.entered import Entered
from tui.followup.fields import FIND, PARTS, Offer, part_of
from tui.followup.form_field import Field
from tui.opened import ChildList
from tui.screens.form_screen import FormScreen
from tui.screens.jump import Place
from tui.widgets import frame
from tui.widgets.form import Form
from tui.widgets.form_parts import Parts
from tui.widgets.prose import Prose

PAUSE_SECONDS = 0.25
"""How long nobody types before a plan is made: shorter would plan for half-typed numbers."""
ROLES = {"appeared": Role.STAGE_READY, "dropped": Role.STAGE_BLOCKED, "conflict": Role.STAGE_BLOCKED}
NOTHING_KEPT = Paragraph("Nothing is kept yet. F5 keeps all of it as one edit.", role=Role.LEGEND)
NOT_YET = "There is no plan yet; the fields appear with it. Escape goes back."
NO_PLAN = "There is no plan of this child, so there is nothing to follow up; its timeline says why. Escape goes back."
KEPT_WHEN_SEEN = "It is kept as soon as the plan with it is ready."
LOOK_AGAIN = "Check the questions above the plan's changes. If the measurement is right, press F5 again to keep it."
EMPTY = (
    Paragraph("Type what was found, done or decided: what it changes in the plan appears here."),
    Paragraph("Findings that the next stages wait for come first; F3 finds any other."),
)


class FollowUpScreen(FormScreen):
    """What is entered on one side, what it changes on the other."""

    BINDINGS: ClassVar[list[BindingType]] = [*keys.FOLLOW_UP]
    HELP_HEAD = "Follow-up"
    RESULT = "#changes"
    DEFAULT_CSS = """
    FollowUpScreen #left { height: 13; width: 100%; }
    FollowUpScreen.listing #left { height: 15; }
    FollowUpScreen Form { height: 1fr; width: 100%; }
    FollowUpScreen #changes { height: 1fr; padding: 0 1; }
    FollowUpScreen.wide #left, FollowUpScreen.wide.listing #left { width: 50%; max-width: 60; height: 100%; }
    FollowUpScreen.wide Choices { height: auto; max-height: 50%; }
    FollowUpScreen.wide #said, FollowUpScreen.wide .listing #said { max-height: 8; }
    FollowUpScreen.wide Offered { max-height: 30%; }
    FollowUpScreen.wide #asked { padding: 1 1 0 1; }
    FollowUpScreen.wide #changes { height: 100%; width: 1fr; padding: 0 2; }
    """

    class Seen(Message):
        """What the record with the new facts changes in the plan, or why there is no plan of it."""

        def __init__(self, record: Record, seen: Preview | tuple[str, ...]) -> None:
            self.record = record
            self.seen = seen
            super().__init__()

    def __init__(self, child: str) -> None:
        super().__init__(child)
        self.part = 0
        self.entered = Entered()
        self.seen: Preview | tuple[str, ...] | None = None
        self._offer: Offer | None = None
        self._pause: Timer | None = None
        self._seen_of: Record | None = None
        self._planning_of: Record | None = None
        """The record that is planned, or was: what is typed otherwise to the same end is not planned again."""
        self._looked_at: Record | None = None
        self._keep_when_seen: Record | None = None

    def compose(self) -> ComposeResult:
        """Lay out title, caution, parts, fields, changes, keys."""
        yield frame.Title(f"{self.child}: follow-up")
        yield frame.Caution()
        yield frame.Notice(id="notice")
        with Container(id="body"):
            with Vertical(id="left"):
                yield Parts(id="parts")
                yield Form(id="fields-entered")
            yield Prose(id="changes", focus=False)
        yield frame.keys()

    def on_mount(self) -> None:
        """Show the fields; what was typed before and not kept stands there again."""
        self.query_one(TextLine).focus()
        self.begin_with(self.home.drafts.get(self.child, {}))
        self.news()
        self._begin()

    def children_changed(self, child_list: ChildList, name: str | None) -> None:
        """Work on the record and the plan as they are now."""
        if name == self.child and self.news():
            self._begin()

    def _begin(self) -> None:
        ground = self._planned()
        self._offer = None
        self._planning_of = None
        if ground is None:
            faulty = bool(self.home.child_list[self.child].problems)
            self.query_one(frame.Notice).say(NO_PLAN if faulty else NOT_YET)
            self.query_one(Form).open(())
            self.query_one(Prose).say(())
            return
        record, plan, rules = ground
        on = self.home.on
        first = asked_next(Question(record, rules, on), plan)
        every = {asked.name: asked for asked in all_findings(Question(record, rules, on))}
        self._offer = Offer(
            record,
            rules,
            on,
            first,
            every,
            choosing(record, plan, rules, self.home.sheets.get(self.child), self.home.decider or ""),
        )
        self.query_one(frame.Notice).say("")
        fields = tuple(followup_fields.fields(self._offer, self.part, self.typed, {}))
        form = self.query_one(Form)
        if form.chosen is not None and form.chosen.name in {one.name for one in fields}:
            form.offer(fields, typing=True)  # a plan that comes while somebody types moves nobody from the field
        else:  # at what was typed before and not kept, else at the first field
            form.open(fields, next((one.name for one in fields if one.name in self.typed), ""))
        self.typed_anew(typing=True)

    def _planned(self) -> tuple[Record, Plan, Protocol] | None:
        session, rules = self.home.child_list[self.child].session, self.home.rules
        if session is None or session.plan is None or rules is None:
            return None
        return session.record, session.plan, rules

    def typed_anew(self, *, typing: bool = False) -> None:
        """Check what is typed, say what is wrong with it in place, and plan with it after a pause."""
        offer = self._offer
        if offer is None:
            return
        # What is only searched for is nothing to keep.
        self.home.drafts[self.child] = {name: text for name, text in self.typed.items() if name != FIND}
        self.entered = entering.entered(
            Question(offer.record, offer.protocol, offer.on), self.typed, offer.every, offer.choosing
        )
        if not self.typed and offer.then:
            offer = self._offer = replace(offer, then=())
        form = self.query_one(Form)
        form.offer(followup_fields.fields(offer, self.part, self.typed, self.entered.wrong), typing=typing)
        form.complain(self.entered.wrong.get(form.chosen.name if form.chosen else "", ""))
        self._show_parts()
        self.query_one(frame.Notice).say(self.entered.wrong.get("", ""))
        if self.entered.record is None or self.entered.record != self._planning_of:
            self._plan_later()
        self._show_changes()

    def _plan_later(self) -> None:
        """Plan with what is entered now after a pause; the answer to what was entered before is shown no longer."""
        if self._pause is not None:
            self._pause.stop()
        self.workers.cancel_node(self)
        self.seen, self._seen_of, self._planning_of = None, None, self.entered.record
        if self.entered.record is not None:
            self._pause = self.set_timer(PAUSE_SECONDS, self._plan_now)

    def _show_parts(self) -> None:
        count = [0] * len(PARTS)
        for name in entering.open_fields(self.typed):
            count[part_of(name)] += name != FIND
        names = [f"{name} ({fields_words(many)})" if many else name for name, many in zip(PARTS, count, strict=True)]
        self.query_one(Parts).offer(names, self.part)

    def _plan_now(self) -> None:
        ground, new = self._planned(), self.entered.record
        if ground is not None and new is not None:
            self._plan(ground[0], ground[1], self.entered.events, new, ground[2])

    @work(thread=True, exclusive=True, exit_on_error=False)
    def _plan(self, record: Record, before: Plan, events: tuple[Event, ...], new: Record, rules: Protocol) -> None:
        worker = get_current_worker()
        asked = self.home.question(self.child, record, rules, before.on)
        try:
            for seen in planner.follow_up(asked, before, events, lambda: not worker.is_cancelled):
                self.post_message(self.Seen(new, seen))
        except Exception as error:  # a fault of ours must not end the form: it is said in place
            self.post_message(self.Seen(new, (f"Internal error while planning ({type(error).__name__}: {error}).",)))

    def on_follow_up_screen_seen(self, event: Seen) -> None:
        """Show what the facts as they stand change; an older answer is dropped."""
        if event.record == self.entered.record:
            self.seen, self._seen_of = event.seen, event.record
            self._ask_more()
            self._show_changes()
            if self._keep_when_seen == event.record:
                self._keep_when_seen = None
                self.action_keep()

    def _ask_more(self) -> None:
        """Add what the course waits for that what is typed leads to; the field that is typed in stays where it is."""
        offer, form = self._offer, self.query_one(Form)
        if offer is None or not isinstance(self.seen, Preview) or self._seen_of is None:
            return
        question = self.home.question(self.child, self._seen_of, offer.protocol, offer.on)
        known = {asked.name for asked in offer.first}
        then = [asked for asked in asked_next(question, self.seen.after) if asked.name not in known]
        at = form.chosen.name if form.chosen is not None else ""
        then += [asked for asked in offer.then if asked.name == at and asked not in then]
        # What was found at this visit is known by now: what is asked for stays as it was last time.
        self._offer = replace(offer, then=tuple(replace(one, last=offer.every[one.name].last) for one in then))
        form.offer(followup_fields.fields(self._offer, self.part, self.typed, self.entered.wrong), typing=True)

    def _show_changes(self) -> None:
        offer = self._offer
        if offer is not None:
            labels = followup_fields.labels(offer)
            self.query_one(Prose).say(_said(self.entered, self.seen, labels), top=self.seen is None)
        self.refresh_bindings()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Return whether an action can be done now: only what can be planned is kept."""
        if action == "keep":
            return self.entered.record is not None
        return super().check_action(action, parameters)

    def on_parts_picked(self, event: Parts.Picked) -> None:
        """Open the part that was clicked."""
        self._open_part(event.place)

    def action_part(self, by: int) -> None:
        """Open the part before or after; after the last comes the first."""
        self._open_part((self.part + by) % len(PARTS))

    def _open_part(self, part: int, name: str = "") -> None:
        offer = self._offer
        if offer is None:
            return
        self.part = part
        shown = followup_fields.fields(offer, part, self.typed, self.entered.wrong)
        self.query_one(Form).open(shown, name)
        self.query_one(TextLine).focus()
        self._show_parts()
        self.refresh_bindings()

    def rule_of(self, field: Field) -> str:
        """Return the finding that a field is of."""
        asked = self._offer.every.get(field.name) if self._offer is not None else None
        return asked.rule.id if asked is not None else ""

    def places(self) -> Sequence[Place]:
        """Return the fields of every part."""
        offer = self._offer
        if offer is None:
            return ()
        return [
            Place(name, one.name, one.label, one.means or one.value)
            for part, name in enumerate(PARTS)
            for one in followup_fields.fields(offer, part, self.typed, {})
        ]

    def go_to(self, place: Place) -> None:
        """Open the part of a field, with that field chosen."""
        self._open_part(PARTS.index(place.part), place.name)

    def action_find(self) -> None:
        """Go to where any finding is searched by a part of its name."""
        self._open_part(0, FIND)

    def show_field(self, name: str) -> None:
        """Choose a field, in whichever part it stands."""
        if part_of(name) == self.part:
            super().show_field(name)
        else:
            self._open_part(part_of(name), name)

    def action_keep(self) -> None:
        """Make everything entered one edit; what is unlikely is asked back once."""
        new = self.entered.record
        if new is None:
            return
        fresh = self._seen_of == new
        unlikely = self.entered.look_again or (fresh and _unexpected(self.seen))
        if unlikely and self._looked_at != new:
            self._looked_at = new
            self.query_one(frame.Notice).say(LOOK_AGAIN)
            self.query_one(Prose).scroll_home(animate=False)  # where the questions stand
            return
        if not fresh and self._looked_at != new:
            # What the visits before did not lead to expect is told by the plan: it is asked back before it is kept.
            self._keep_when_seen = new
            self.query_one(frame.Notice).say(KEPT_WHEN_SEEN)
            return
        sentence, events = entering.told(self.entered.facts), self.entered.events
        for event in events:
            if isinstance(event, Decision):
                self.home.decider = event.by
        self.home.drafts.pop(self.child, None)
        self._offer = None
        self.home.go_back()
        self.home.edit(self.child, sentence, events)


def fields_words(many: int) -> str:
    """Return how many fields are filled in: `1 field`, `5 fields`."""
    return f"{many} {'field' if many == 1 else 'fields'}"


def _said(entered: Entered, seen: Preview | tuple[str, ...] | None, labels: Mapping[str, str]) -> Iterator[Paragraph]:
    if entered.wrong:
        yield Paragraph("To correct first", role=Role.STAGE_BLOCKED, heading=True)
        for name, sentence in entered.wrong.items():
            yield Paragraph(f"{labels.get(name, 'All together')}: {sentence}.", 1, Role.STAGE_BLOCKED)
        return
    if entered.record is None:
        yield from EMPTY
        return
    for question in entered.look_again:
        yield Paragraph(f"Please check: {question}", role=Role.STAGE_READY, heading=True)
    for notice in _unexpected(seen):
        yield Paragraph(notice, role=Role.STAGE_READY, heading=True)
    if seen is None:
        yield Paragraph("Planning with it …", role=Role.LEGEND)
    elif isinstance(seen, tuple):
        yield from (Paragraph(text, role=Role.STAGE_BLOCKED) for text in seen)
    else:
        yield from _changes(seen)
    yield NOTHING_KEPT


def _changes(seen: Preview) -> Iterator[Paragraph]:
    yield Paragraph("What this changes in the plan", heading=True)
    if not seen.changes:
        yield Paragraph("Nothing changes in the plan.")
    causes = dict.fromkeys(change.because for change in seen.changes)
    for because in causes:
        words = f"Because of {'; '.join(because)}:" if because else "Looking for the fact behind each change …"
        yield Paragraph(words, role=Role.LEGEND)
        yield from (_change(change) for change in seen.changes if change.because == because)
    yield from (Paragraph(text) for text in _new_notices(seen) if not text.startswith(UNEXPECTED))
    yield Paragraph("")


def _unexpected(seen: Preview | tuple[str, ...] | None) -> tuple[str, ...]:
    """Return what the visits before did not lead to expect: a slip of the pen as often as not, so it stands first."""
    return (
        tuple(text for text in _new_notices(seen) if text.startswith(UNEXPECTED)) if isinstance(seen, Preview) else ()
    )


def _new_notices(seen: Preview) -> tuple[str, ...]:
    known = set(seen.before.notices)
    return tuple(text for text in seen.after.notices if text not in known)


def _change(change: Change) -> Paragraph:
    found = change.difference
    role = ROLES.get(found.kind, Role.TEXT)
    if found.kind == "gate":
        role = {"holds": Role.STAGE_READY, "fails": Role.STAGE_BLOCKED}.get(found.after, Role.TEXT)
    return Paragraph(found.sentence, 1, role)
