"""History: what was entered of a child and which plans were kept, step by step; two of them compared."""

from __future__ import annotations

from collections.abc import Iterator
from typing import ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Container
from textual.events import Resize
from textual.message import Message
from textual.worker import get_current_worker

from pathway.children.kept_plans import NOW, Known, Moment, days_of
from pathway.children.storage import SaveFailed
from pathway.plan.make import PlanBreach
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.questions.followup import Preview
from pathway.views.pictures.picture import Role
from pathway.views.words.accepting import LOOKING
from pathway.views.words.changes import change_paragraphs
from pathway.views.words.paragraphs import Paragraph
from tui import keys, planner, why_not
from tui.opened import ChildList
from tui.screens.base import ChildScreen
from tui.widgets import frame
from tui.widgets.choices import Choices
from tui.widgets.prose import Prose

WIDE = 100
READING = "Reading the history …"
COMPARING = "Comparing …"
NOT_KEPT = "By the days of the record. A registry also keeps who entered what when, and every accepted plan."
ACCEPTED, MARKED = "✓", "≠"
MOST_NAMED = 2
"""How many of the things entered stand in the line of a step, each whole; all of them are said beside it."""
NOW_WORDS = "as it stands on the screens"
Found = tuple[Moment, ...] | str


class HistoryScreen(ChildScreen):
    """The steps on one side, newest first; what the chosen one says, or what changed between two, on the other."""

    BINDINGS: ClassVar[list[BindingType]] = [*keys.HISTORY]
    HELP_HEAD = "History"
    DEFAULT_CSS = """
    HistoryScreen #body { layout: vertical; height: 1fr; }
    HistoryScreen Choices { height: 1fr; }
    HistoryScreen #said { height: 1fr; padding: 0 1; }
    HistoryScreen.wide #body { layout: horizontal; }
    HistoryScreen.wide Choices { width: 2fr; height: 100%; padding: 1 1 0 1; }
    HistoryScreen.wide #said { width: 3fr; height: 100%; padding: 1 2; }
    """

    class Read(Message):
        """The steps were read, or why they cannot be."""

        def __init__(self, found: Found) -> None:
            self.found = found
            super().__init__()

    class Compared(Message):
        """What changed between two steps, or why that cannot be said."""

        def __init__(self, pair: tuple[int, int], seen: Preview | str) -> None:
            self.pair = pair
            self.seen = seen
            super().__init__()

    def __init__(self, child: str, stage: str | None = None) -> None:
        super().__init__(child, stage)
        self.moments: tuple[Moment, ...] = ()
        self.marked = NOW
        self._pair: tuple[int, int] | None = None

    def compose(self) -> ComposeResult:
        """Lay out title, caution, steps, what is said, keys."""
        yield frame.Title(f"{self.child}: history")
        yield frame.Caution()
        yield frame.Notice(id="notice", calm=True)
        with Container(id="body"):
            yield Choices(id="moments")
            yield Prose(id="said", panel=True)
        yield frame.keys()

    def on_mount(self) -> None:
        """Read the steps."""
        self.query_one("#said", Prose).focus()
        self._begin()

    def on_resize(self, event: Resize) -> None:
        """Put what is said beside the steps where there is width for it."""
        self.set_class(event.size.width >= WIDE, "wide")

    def children_changed(self, child_list: ChildList, name: str | None) -> None:
        """Read the steps again: something was saved or entered."""
        if name == self.child:
            self._begin()

    def _begin(self) -> None:
        entry, rules, storage = self.home.child_list[self.child], self.home.rules, self.home.storage
        if entry.session is None or rules is None:
            words = why_not.without_plan(entry)
            self.query_one("#said", Prose).say([Paragraph(words)])
        elif storage is not None and storage.plans is not None:
            if not self.moments:
                self.query_one("#said", Prose).say([Paragraph(READING)])
            self._read(rules)
        else:
            self.query_one(frame.Notice).say(NOT_KEPT)
            self._show(days_of(entry.session.record.until(self.home.on), rules))

    @work(thread=True, exclusive=True, group="read", exit_on_error=False)
    def _read(self, rules: Protocol) -> None:
        storage = self.home.storage
        if storage is None or storage.plans is None:
            return
        try:
            self.post_message(self.Read(storage.plans.moments(self.child, rules)))
        except SaveFailed as error:
            self.post_message(self.Read(str(error)))

    def on_history_screen_read(self, event: Read) -> None:
        """Show the steps, or say why there are none."""
        if isinstance(event.found, str):
            self.query_one("#said", Prose).say([Paragraph(event.found, role=Role.STAGE_BLOCKED)])
        else:
            self._show(event.found)

    def _show(self, moments: tuple[Moment, ...]) -> None:
        now = Moment(NOW, self.home.on, "", "now", NOW_WORDS)
        known = len(self.moments) > 1
        self.moments = (now, *reversed(moments))
        at = self.query_one(Choices).place if known else min(1, len(moments))
        self._offer(at)
        self._say()

    def _offer(self, place: int) -> None:
        said = [_line(one, marked=one.number == self.marked) for one in self.moments]
        self.query_one(Choices).offer(said, place)
        self.refresh_bindings()

    @property
    def chosen(self) -> Moment | None:
        """Return the step that is chosen."""
        place = self.query_one(Choices).place
        return self.moments[place] if 0 <= place < len(self.moments) else None

    def _say(self) -> None:
        """Say what the chosen step holds."""
        chosen = self.chosen
        self._pair = None
        if chosen is not None:
            self.query_one("#said", Prose).say(self._words(chosen))

    def _words(self, one: Moment) -> Iterator[Paragraph]:
        yield Paragraph(_head(one), heading=True)
        for text in one.what.split("; "):
            yield Paragraph(text, 1)
        yield Paragraph("")
        other = next((each for each in self.moments if each.number == self.marked), None)
        if other is not None and other.number != one.number:
            words = f"Enter compares it with {_head(other)}; m compares others with this one."
        else:
            words = "Choose another step, then Enter: it is compared with this one."
        yield Paragraph(words, role=Role.LEGEND)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Return whether an action can be done now: two steps are compared."""
        if action == "compare":
            chosen = self.chosen if self.is_mounted else None
            return chosen is not None and chosen.number != self.marked
        if action == "mark":
            return len(self.moments) > 1
        return super().check_action(action, parameters)

    def why_not(self, action: str) -> str:
        """Return why an action cannot be done now."""
        if action == "compare" and len(self.moments) > 1:
            return "This is the step that others are compared with: choose another one first."
        return super().why_not("compare" if action == "mark" else action)

    def action_moment(self, by: int) -> None:
        """Choose the step before or after."""
        choices = self.query_one(Choices)
        choices.choose(choices.place + by)
        self._say()
        self.refresh_bindings()

    def on_choices_picked(self, event: Choices.Picked) -> None:
        """Choose the step that was clicked."""
        self.query_one(Choices).choose(event.place)
        self._say()
        self.refresh_bindings()

    def action_mark(self) -> None:
        """Compare others with the chosen step."""
        if self.chosen is not None:
            self.marked = self.chosen.number
            self._offer(self.query_one(Choices).place)
            self._say()

    def action_compare(self) -> None:
        """Say what changed between the marked step and the chosen one, the earlier one first; again: the step."""
        chosen, rules = self.chosen, self.home.rules
        if chosen is None or rules is None:
            return
        order = [one.number for one in self.moments]
        first, last = sorted((chosen.number, self.marked), key=order.index, reverse=True)
        if self._pair == (first, last):
            self._say()
            return
        self._pair = (first, last)
        self.query_one("#said", Prose).say([Paragraph(COMPARING)])
        self._compare(first, last, rules)

    @work(thread=True, exclusive=True, group="compare", exit_on_error=False)
    def _compare(self, first: int, last: int, rules: Protocol) -> None:
        worker = get_current_worker()
        try:
            one, other = self._side(first, rules), self._side(last, rules)
            for seen in planner.between(one, other, rules, lambda: not worker.is_cancelled):
                self.post_message(self.Compared((first, last), seen))
        except (SaveFailed, PlanBreach) as error:
            self.post_message(self.Compared((first, last), str(error)))

    def _side(self, number: int, rules: Protocol) -> planner.Side:
        """Return the record and plan of a step: the plan that was kept, else as it is planned for its day."""
        from pathway.plan.make import make_plan

        known = self._known(number)
        plan = known.plan or make_plan(Question(known.record, rules, known.on), compared=False)
        return planner.Side(known.record, plan)

    def _known(self, number: int) -> Known:
        entry, storage = self.home.child_list[self.child], self.home.storage
        assert entry.session is not None
        record = entry.session.record
        if number == NOW:
            return Known(record, entry.session.plan, self.home.on)
        if storage is not None and storage.plans is not None:
            return storage.plans.at(self.child, number)
        day = next(one.on for one in self.moments if one.number == number)
        return Known(record.until(day), None, day)

    def on_history_screen_compared(self, event: Compared) -> None:
        """Show what changed; the answer to an older question is dropped."""
        if event.pair == self._pair:
            self.query_one("#said", Prose).say(self._changes(event.pair, event.seen), top=False)

    def _changes(self, pair: tuple[int, int], seen: Preview | str) -> Iterator[Paragraph]:
        heads = {one.number: _head(one) for one in self.moments}
        yield Paragraph(f"From {heads[pair[0]]} to {heads[pair[1]]}", heading=True)
        if isinstance(seen, str):
            yield Paragraph(seen, 1, Role.STAGE_BLOCKED)
            return
        yield from change_paragraphs(seen, LOOKING)
        if seen.entered:
            yield Paragraph("Entered in between", heading=True)
            yield from (Paragraph(words, 1) for words in seen.entered)

    def action_page(self, by: int) -> None:
        """Scroll what is said."""
        prose = self.query_one("#said", Prose)
        prose.scroll_relative(y=by * max(1, prose.size.height - 2), animate=False)


def _head(one: Moment) -> str:
    who = f" by {one.who}" if one.who else ""
    return f"{one.kind}, {one.on}{who}"


def _line(one: Moment, *, marked: bool) -> Paragraph:
    mark = MARKED if marked else ACCEPTED if one.accepted else " "
    role = Role.STAGE_DONE if one.accepted else Role.LABEL if marked else Role.TEXT
    parts = one.what.split("; ")
    more = len(parts) - MOST_NAMED
    short = "; ".join(parts[:MOST_NAMED]) + (f"; and {more} more" if more > 0 else "")
    return Paragraph(f"{mark} {_head(one)}: {short}", role=role)
