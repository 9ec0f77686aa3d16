"""Courses: the ways to the goal side by side; sort them, ask what if, choose one with a reason."""

from __future__ import annotations

from collections.abc import Iterator
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.events import Resize

from pathway.plan.model import Course, Plan
from pathway.preferences import PROSTHETIC_COURSE
from pathway.questions import decisions
from pathway.views.pictures.course_cards import FIRST, NOT_BEATEN, ORDERS, cards, cards_that_fit, in_order
from pathway.views.pictures.picture import Role
from pathway.views.words import firmness, paragraphs, roads, statements
from pathway.views.words.carried_out import of_chosen
from pathway.views.words.courses import WORLDS
from pathway.views.words.expected import printed_lines, programme_words
from pathway.views.words.paragraphs import Paragraph
from pathway.views.words.plan import path_words, usual_words
from pathway.views.words.statements import Statement
from tui import keys
from tui.opened import ChildList
from tui.screens.base import ChildScreen
from tui.screens.reason import ReasonScreen, Who
from tui.widgets import frame
from tui.widgets.picture_view import PictureView
from tui.widgets.prose import Prose

COMPARING = "Comparing the courses …"
MARKS = (
    f"{FIRST} comes first   {NOT_BEATEN} no other has both less burden and a better chance   "
    f"{firmness.MARK} {firmness.WORD}"
)


class CoursesScreen(ChildScreen):
    """Cards side by side, the words of the selected one below."""

    BINDINGS: ClassVar[list[BindingType]] = [*keys.COURSES]
    HELP_HEAD = "Courses"
    COMPARES = True
    DEFAULT_CSS = """
    CoursesScreen #sorted { height: 1; padding: 0 1; }
    CoursesScreen PictureView { height: auto; max-height: 75%; width: 100%; margin: 0 0 0 1; overflow: hidden auto; }
    CoursesScreen #course { height: 1fr; padding: 0 1; }
    """

    def __init__(self, child: str, stage: str | None = None) -> None:
        super().__init__(child, stage)
        self.course: str | None = None
        self.order = 0
        self._from = 0

    def compose(self) -> ComposeResult:
        """Lay out title, caution, what was edited, order, cards, words, keys."""
        yield frame.Title("Courses")
        yield frame.Caution()
        yield frame.Notice(id="told", calm=True)
        yield Prose(id="sorted", panel=True, focus=False)
        yield PictureView(id="cards")
        yield Prose(id="course", focus=False)
        yield frame.keys()

    def on_mount(self) -> None:
        """Show the courses."""
        self.query_one(PictureView).focus()
        self.show_courses()

    def on_resize(self, _event: Resize) -> None:
        """Lay the cards out for the width there is."""
        self.show_courses()
        self.call_after_refresh(self.show_courses)

    def children_changed(self, child_list: ChildList, name: str | None) -> None:
        """Show the new plan; the course that comes first is selected."""
        if name == self.child:
            self.course = None
            self.show_courses()

    def fresh(self) -> None:
        """Select the course that comes first, in the order of the plan."""
        self.course, self.order, self._from = None, 0, 0

    def show_stage(self) -> None:
        """Show the courses: they belong to no one stage."""
        self.show_courses()

    @property
    def plan(self) -> Plan | None:
        """Return the plan with the courses that it is compared with, or None where it has none (yet)."""
        return super().plan if self.home.child_list[self.child].compared else None

    @property
    def shown(self) -> tuple[Course, ...]:
        """Return all courses in the order asked for."""
        return in_order(self.plan, ORDERS[self.order]) if self.plan is not None else ()

    @property
    def chosen(self) -> Course | None:
        """Return the selected course; the recommended one where none was selected."""
        plan = self.plan
        if plan is None:
            return None
        return next((c for c in self.shown if c.id == self.course), plan.recommended or next(iter(self.shown), None))

    def show_courses(self) -> None:
        """Show the cards around the selected course, and its words."""
        plan, chosen = self.plan, self.chosen
        entry = self.home.child_list[self.child]
        self.query_one("#told", frame.Notice).say("\n".join(entry.told))
        self.query_one(frame.Title).update(f"{self.child}: courses side by side, {self.home.on}")
        if plan is None or chosen is None:
            self.query_one("#sorted", Prose).say([])
            self.query_one(PictureView).show(None)
            words = COMPARING if entry.plan is not None and not entry.compared else _none(plan)
            conflicts = paragraphs.conflicts(plan) if plan is not None else ()
            self.query_one("#course", Prose).say([Paragraph(words), *(Paragraph(text) for text in conflicts)])
            return
        courses, width = self.shown, self.app.size.width - 2
        fit = cards_that_fit(width)
        place = courses.index(chosen)
        self._from = max(0, min(max(self._from, place - fit + 1), place))
        order = ORDERS[self.order]
        hidden = f"{self._from + 1} to {min(self._from + fit, len(courses))} of {len(courses)}"
        self.query_one("#sorted", Prose).say([Paragraph(f"Sorted: {order.words} (o)   {hidden}", role=Role.MEDIAN)])
        picture = cards(plan, courses[self._from : self._from + fit], width)
        view = self.query_one(PictureView)
        view.styles.height = picture.height
        view.show(picture, chosen.id)
        self.query_one("#course", Prose).say(_words(plan, chosen))

    def action_course(self, by: int) -> None:
        """Select the course before or after."""
        chosen, courses = self.chosen, self.shown
        if chosen is not None:
            place = max(0, min(len(courses) - 1, courses.index(chosen) + by))
            self.course = courses[place].id
            self.show_courses()

    def action_order(self, by: int) -> None:
        """Sort by the next thing that may matter."""
        self.order = (self.order + by) % len(ORDERS)
        self._from = 0
        first = next(iter(self.shown), None)
        self.course = first.id if first else None
        self.show_courses()

    def action_page(self, by: int) -> None:
        """Scroll the cards where they are higher than their place, then the words of the course."""
        cards, words = self.query_one(PictureView), self.query_one("#course", Prose)
        first = cards.scroll_offset.y < cards.max_scroll_y if by > 0 else words.scroll_offset.y <= 0
        part = cards if first else words
        part.scroll_relative(y=by * max(1, part.size.height - 1), animate=False)

    def action_choose(self) -> None:
        """Ask for the reason; then the course becomes the plan."""
        course, plan = self.chosen, self.plan
        session = self.home.child_list[self.child].session
        if course is None or plan is None or session is None:
            return
        record, on = session.record, self.home.on

        def decide(reason: str, who: Who) -> None:
            sentence, events = decisions.choose_course(record, course, reason, who, on)
            self.home.edit(self.child, sentence, events)

        words = (f"Choose: {course.summary}", *decisions.beside(plan, course))
        self.home.push_screen(ReasonScreen(f"{self.child}: choose a course", words, decide))

    def statements(self) -> tuple[Statement, ...]:
        """Return what stands behind the selected course."""
        if self.plan is None or self.chosen is None:
            return ()
        return statements.of_course(self.plan, self.chosen)

    def sources_head(self) -> str:
        """Return the title of the statements."""
        return f"{self.child}: sources, " + (self.chosen.summary if self.chosen else "courses")

    def on_picture_view_picked(self, event: PictureView.Picked) -> None:
        """Select the course that was clicked."""
        self.course = event.stage
        self.show_courses()


def _none(plan: Plan | None) -> str:
    if plan is not None and plan.child.affected_side == "both":
        return f"No course is planned for length. {plan.growth.basis}"
    return "No course can be planned yet: no leg length was measured, or the rules contradict each other."


def _words(plan: Plan, course: Course) -> Iterator[Paragraph]:
    yield Paragraph(course.summary[0].upper() + course.summary[1:], heading=True)
    if first := roads.first_words(plan, course):
        yield Paragraph(f"{first[0].upper()}{first[1:]}")
    for said in of_chosen(plan):
        yield Paragraph(said)
    if firmness.is_between(plan, course):
        yield Paragraph(firmness.sentence(plan), role=Role.STAGE_READY)
    if course.id == PROSTHETIC_COURSE or (plan.roads is not None and course.recommended):
        yield from paragraphs.of_roads(plan)
    if course.lost_because:
        yield Paragraph(f"Not first: {course.lost_because}")
    if usual := usual_words(course):
        yield Paragraph(usual)
    if path := path_words(course):
        yield Paragraph(path)
    for said in programme_words(course):
        yield Paragraph(said)
    for line in printed_lines(plan):
        yield Paragraph(line, role=Role.LEGEND)
    yield Paragraph(WORLDS, role=Role.LEGEND)
    yield Paragraph(MARKS, role=Role.LEGEND)
