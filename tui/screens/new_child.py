"""New child: a form beside the plan of what is typed; saving keeps the child where the others are and opens it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Container
from textual.message import Message
from textual.timer import Timer
from textual.widgets import Input as TextLine

from pathway.children.storage import Saved, SaveFailed
from pathway.plan.model import Plan, PlanStage
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.record import Record
from pathway.views.pictures.picture import Role
from pathway.views.words import paragraphs, statements
from pathway.views.words.caution import of_children
from pathway.views.words.children import plan_row
from pathway.views.words.paragraphs import Paragraph
from pathway.views.words.statements import Statement
from tui import keys, planner
from tui.newcomer.entered import NOTE, Newcomer, entered
from tui.newcomer.fields import fields, labels
from tui.screens.followup import PAUSE_SECONDS
from tui.screens.form_screen import FormScreen
from tui.widgets import frame
from tui.widgets.form import Form
from tui.widgets.prose import Prose

NO_RULES = "The rules are being read; the fields appear with them."
BEGIN = (
    Paragraph("Type what is known: the plan of it appears here as soon as there is enough for one."),
    Paragraph("Give the child an id of your own, no name. Everything else can be added at visits later."),
    Paragraph("A class of the deficiency is not typed: it follows from the findings of a visit (v, once saved)."),
)
NOT_KEPT = "Nothing is kept yet. F5 saves the child in {place} and opens it."
SAVING = "Saving …"
LOOK_AGAIN = "Check the questions above the plan. If the lengths are right, press F5 again to save the child."
MOST_ASKED = 4
"""How many of the findings to measure first are named beside the form: at the visit all are."""


class NewChildScreen(FormScreen):
    """What is known of a new child on one side, its plan as typed on the other."""

    BINDINGS: ClassVar[list[BindingType]] = [*keys.NEW_CHILD]
    RESULT = "#plan"
    DEFAULT_CSS = """
    NewChildScreen Form { height: 13; width: 100%; }
    NewChildScreen #plan { height: 1fr; padding: 0 1; }
    NewChildScreen.wide Form { width: 50%; max-width: 64; height: 100%; padding: 1 0; }
    NewChildScreen.wide Choices { height: auto; max-height: 70%; }
    NewChildScreen.wide #asked { padding: 1 1 0 1; }
    NewChildScreen.wide #plan { height: 100%; width: 1fr; padding: 1 2; }
    """

    class Planned(Message):
        """The plan of a record as typed, or why there is none."""

        def __init__(self, record: Record, outcome: planner.Made | tuple[str, ...]) -> None:
            self.record = record
            self.outcome = outcome
            super().__init__()

    class Kept(Message):
        """What became of saving the child."""

        def __init__(self, record: Record, answer: Saved | SaveFailed) -> None:
            self.record = record
            self.answer = answer
            super().__init__()

    def __init__(self) -> None:
        super().__init__("")
        self.found = Newcomer()
        self.made: planner.Made | tuple[str, ...] | None = None
        self._pause: Timer | None = None
        self._saving = False
        self._looked_at: Record | None = None

    @property
    def plan(self) -> Plan | None:
        """Return nothing: a child that is not kept yet has no other screens."""
        return None

    @property
    def selected(self) -> PlanStage | None:
        """Return nothing, as there is no plan to select in."""
        return None

    def compose(self) -> ComposeResult:
        """Lay out title, caution, fields, plan, keys."""
        yield frame.Title("New child")
        yield frame.Caution()
        yield frame.Notice(id="notice")
        with Container(id="body"):
            yield Form(id="fields-of-child")
            yield Prose(id="plan", focus=False)
        yield frame.keys()

    def on_mount(self) -> None:
        """Show the fields; what was typed before and not saved stands there again."""
        self.query_one(TextLine).focus()
        self.begin_with(self.home.newcomer)
        self._begin()

    def children_changed(self, child_list: object, name: str | None) -> None:
        """Show the fields once the rules are there."""
        if not self.query_one(Form).fields:
            self._begin()

    def _begin(self) -> None:
        rules = self.home.rules
        if rules is None:
            self.query_one(frame.Notice).say(NO_RULES)
            self.home.read_rules()
            return
        self.query_one(frame.Notice).say("")
        self.found = self._entered(rules)
        self.query_one(Form).open(fields(self.typed, self.found, rules, self.home.on))
        self.typed_anew()

    def _entered(self, rules: Protocol) -> Newcomer:
        return entered(self.typed, rules, self.home.on, {entry.name for entry in self.home.child_list.entries})

    def typed_anew(self, *, typing: bool = False) -> None:
        """Check what is typed, and plan it where it is enough; while one types the plan waits a moment."""
        rules = self.home.rules
        if rules is None:
            return
        self.home.newcomer = dict(self.typed)
        before, self.found = self.found.record, self._entered(rules)
        form = self.query_one(Form)
        form.offer(fields(self.typed, self.found, rules, self.home.on), typing=typing)
        form.complain(self.found.wrong.get(form.chosen.name if form.chosen else "", ""))
        self.query_one(frame.Notice).say("")
        if self.found.record != before or self.made is None:
            self.made = None
            self._plan_later()
        self.show_plan()
        self.say_invented()

    def _plan_later(self) -> None:
        if self._pause is not None:
            self._pause.stop()
        self.workers.cancel_node(self)
        if self.found.record is not None:
            self._pause = self.set_timer(PAUSE_SECONDS, self._plan_now)

    def _plan_now(self) -> None:
        if self.found.record is not None and self.home.rules is not None:
            self._plan(self.found.record, self.home.rules)

    @work(thread=True, exclusive=True, exit_on_error=False)
    def _plan(self, record: Record, rules: Protocol) -> None:
        try:
            outcome = planner.make_from(record.child.id, Question(record, rules, self.home.on))
        except Exception as error:  # a fault of ours must not end the form: it is said in place
            outcome = (f"Internal error while planning ({type(error).__name__}: {error}).",)
        self.post_message(self.Planned(record, outcome))

    def on_new_child_screen_planned(self, event: Planned) -> None:
        """Show the plan of what is typed; one of something typed before is dropped."""
        if event.record == self.found.record:
            self.made = event.outcome
            self.show_plan()
            self.refresh_bindings()

    def show_plan(self) -> None:
        """Say the plan, or what is still missing for one."""
        rules = self.home.rules
        if rules is not None:
            names = labels(rules, self.home.on)
            self.query_one(Prose).say(tuple(self._said(names)), top=False)
        self.refresh_bindings()

    def _said(self, names: Mapping[str, str]) -> Iterator[Paragraph]:
        if self.found.wrong:
            yield Paragraph("To correct first", role=Role.STAGE_BLOCKED, heading=True)
            for name, sentence in self.found.wrong.items():
                yield Paragraph(f"{names.get(name, 'All together')}: {sentence}.", 1, Role.STAGE_BLOCKED)
        if not self.typed:
            yield from BEGIN
        if self.found.missing and self.typed:
            missing = ", ".join(names[name] for name in self.found.missing)
            yield Paragraph(f"Still needed: {missing}.", role=Role.STAGE_READY)
        if self.found.record is None:
            return
        for question in self.found.look_again:
            yield Paragraph(f"Please check: {question}", role=Role.STAGE_READY, heading=True)
        if self.made is None:
            yield Paragraph("Planning with it …", role=Role.LEGEND)
        elif isinstance(self.made, tuple):
            yield from (Paragraph(text, role=Role.STAGE_BLOCKED) for text in self.made)
        else:
            yield from _of_plan(self.made.plan)
        yield Paragraph("")
        words = self.home.why_no_new_child or NOT_KEPT.format(place=self.home.place_of_new)
        yield Paragraph(words, role=Role.LEGEND)

    def statements(self) -> tuple[Statement, ...]:
        """Return what the plan as typed says, with the rule behind it."""
        return statements.of_plan(self.made.plan) if isinstance(self.made, planner.Made) else ()

    def sources_head(self) -> str:
        """Return the title of the statements."""
        return "New child: sources"

    def say_invented(self) -> None:
        """Say whether the child typed is invented, by its note."""
        for caution in self.query(frame.Caution):
            caution.say(of_children([self.typed.get(NOTE, "")]))

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Return whether an action can be done now: only a child that is complete is saved."""
        if action in ("keep", "save"):
            return self.found.record is not None and not self._saving
        if action == "option":
            chosen = self.query_one(Form).chosen if self.is_mounted else None
            return chosen is not None and bool(chosen.options)
        if action == "sources":
            return bool(self.statements())
        return super().check_action(action, parameters)

    def action_field(self, by: int) -> None:
        """Choose the field before or after."""
        super().action_field(by)
        self.refresh_bindings()

    def action_option(self) -> None:
        """Take the next choice of the field."""
        self.query_one(Form).next_option()

    def action_save(self) -> None:
        """Save the child."""
        self.action_keep()

    def action_keep(self) -> None:
        """Save the child where the others are kept; it opens once it is."""
        if self.found.record is None or self._saving:
            return
        why = self.home.why_no_new_child
        if why:
            self.query_one(frame.Notice).say(why)
            return
        if self.found.look_again and self._looked_at != self.found.record:
            self._looked_at = self.found.record
            self.query_one(frame.Notice).say(LOOK_AGAIN)
            self.query_one(Prose).scroll_home(animate=False)  # where the questions stand
            return
        self._saving = True
        self.query_one(frame.Notice).say(SAVING)
        self._keep(self.found.record)
        self.refresh_bindings()

    @work(thread=True, exit_on_error=False)
    def _keep(self, record: Record) -> None:
        self.post_message(self.Kept(record, self.home.kept_newcomer(record)))

    def on_new_child_screen_kept(self, event: Kept) -> None:
        """Open the child; or say why it could not be saved, everything typed stays."""
        self._saving = False
        if isinstance(event.answer, Saved):
            self.home.newcomer = {}
            self.home.go_back()
            self.home.take_in(event.record.child.id, event.answer.sentence)
            self.home.open_timeline(event.record.child.id)
            return
        self.query_one(frame.Notice).say(f"Not saved: {event.answer}")
        self.refresh_bindings()


def _of_plan(plan: Plan) -> Iterator[Paragraph]:
    line = plan_row(plan.child.id, plan)
    yield Paragraph("The plan as typed", heading=True)
    yield Paragraph(f"{line.diagnosis}, {line.age}")
    if plan.open_questions:
        first = ", ".join(question.label for question in plan.open_questions[:MOST_ASKED])
        more = len(plan.open_questions) - MOST_ASKED
        asked = f"Measure first: {first}{f' and {more} more' if more > 0 else ''}"
        yield Paragraph(asked, role=Role.STAGE_READY)
    yield Paragraph(f"Next: {line.following}{f', {line.when}' if line.when else ''}")
    yield Paragraph(f"Difference at maturity, untreated: {line.difference}")
    yield from (Paragraph(text, role=Role.STAGE_BLOCKED) for text in paragraphs.conflicts(plan))
    for item in plan.classification:
        yield Paragraph(f"{item.label}: {item.type} ({item.type_label})")
    yield from paragraphs.of_roads(plan)
    dated = [stage for stage in paragraphs.in_date_order(plan) if stage.date is not None]
    if dated:
        yield Paragraph("Stages", heading=True)
        yield from (Paragraph(f"{stage.date}  {stage.label}", 1) for stage in dated)
