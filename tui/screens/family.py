"""The family view: the plan in plain words, with room between the lines."""

from __future__ import annotations

from collections.abc import Iterator
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType

from pathway.plan.model import Plan
from pathway.protocol.model import Protocol
from pathway.views.family.text import family_parts
from pathway.views.pictures.picture import Role
from pathway.views.words.paragraphs import Paragraph
from pathway.views.words.wording import wording
from tui import keys
from tui.opened import ChildList
from tui.screens.page import PageScreen
from tui.widgets import frame
from tui.widgets.prose import Prose

WIDEST = 72
COMPARING = "The other choices are being worked out; they come in a moment."


class FamilyScreen(PageScreen):
    """The family's story: what the child has, what comes next, the choices, what can go wrong."""

    COMPARES = True
    OVERLAP = 3
    BINDINGS: ClassVar[list[BindingType]] = [*keys.FAMILY]
    HELP_HEAD = "Family view"
    DEFAULT_CSS = """
    FamilyScreen #page { height: 1fr; padding: 1 3; align-horizontal: center; }
    """

    def __init__(self, child: str, stage: str | None = None) -> None:
        super().__init__(child, stage)
        self._told: tuple[Plan, Protocol, str] | None = None
        """What the page was made of: the plan, the rules, and what was still to come."""

    def compose(self) -> ComposeResult:
        """Lay out title, caution, text, keys."""
        yield frame.Title("The plan in plain words")
        yield frame.Caution()
        yield Prose(id="page")
        yield frame.keys()

    def children_changed(self, child_list: ChildList, name: str | None) -> None:
        """Say the new plan."""
        if name == self.child:
            self.show_stage()

    def show_stage(self) -> None:
        """Say the whole plan from its start."""
        plan, rules = self.plan, self.home.rules
        if plan is not None and rules is not None:
            waits = COMPARING if self.home.child_list[self.child].comparable else ""
            page = self.query_one("#page", Prose)
            told = self._told
            if told is not None and told[0] is plan and told[1] is rules and told[2] == waits:
                page.scroll_home(animate=False)  # the same story: making it takes most of the time of a key
                return
            self._told = (plan, rules, waits)
            page.say(family_paragraphs(plan, rules, waits))
            self.query_one(frame.Title).update(f"{self.child}: the plan in plain words")


def family_paragraphs(plan: Plan, protocol: Protocol, waits: str = "") -> Iterator[Paragraph]:
    """Yield the parts with room between them; `waits` says what is still to come."""
    if waits:
        yield Paragraph(waits, role=Role.LEGEND, widest=WIDEST)
        yield Paragraph("")
    for part in family_parts(plan, wording(), protocol):
        yield Paragraph(part.heading, heading=True, widest=WIDEST)
        yield Paragraph("")
        for sentence in part.sentences:
            yield Paragraph(sentence, depth=1, widest=WIDEST)
            yield Paragraph("")
        yield Paragraph("")
