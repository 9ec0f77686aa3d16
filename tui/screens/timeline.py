"""The home of a child: stages and leg difference on one age axis, an age cursor, a selected stage."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Container
from textual.events import Resize

from pathway.days import age_words
from pathway.views.pictures.timeline import timeline_ages
from pathway.views.words import firmness, paragraphs
from pathway.views.words.children import next_stage
from pathway.views.words.paragraphs import Paragraph
from tui import keys
from tui.opened import ChildList
from tui.screens.base import ChildScreen
from tui.widgets import frame
from tui.widgets.picture_view import PictureView
from tui.widgets.prose import Prose
from tui.widgets.timeline_view import TimelineView

WIDE = 110
GAP = Paragraph("")


class TimelineScreen(ChildScreen):
    """The timeline of one child."""

    BINDINGS: ClassVar[list[BindingType]] = [*keys.TIMELINE]
    DEFAULT_CSS = """
    TimelineScreen #body { layout: vertical; height: 1fr; }
    TimelineScreen TimelineView { height: 1fr; width: 1fr; }
    TimelineScreen #panes { layout: horizontal; height: 5; width: 100%; }
    TimelineScreen #panes Prose { width: 1fr; height: 100%; }
    TimelineScreen.wide #body { layout: horizontal; }
    TimelineScreen.wide #panes { layout: vertical; width: 38; height: 100%; padding: 1 0; background: $panel; }
    TimelineScreen.wide #panes #age { height: 1fr; width: 100%; }
    TimelineScreen.wide #panes #stage { display: none; }
    """

    def __init__(self, child: str, stage: str | None = None) -> None:
        super().__init__(child, stage)
        self._opened = False

    def compose(self) -> ComposeResult:
        """Lay out title, caution, notice, timeline, panes, keys."""
        yield frame.Title(self.child)
        yield frame.Caution()
        yield frame.Notice(id="notice")
        yield frame.Notice(id="told", calm=True)
        with Container(id="body"):
            yield TimelineView(id="timeline")
            with Container(id="panes"):
                yield Prose(id="age", panel=True, focus=False)
                yield Prose(id="stage", panel=True, focus=False)
        yield frame.keys()

    def on_mount(self) -> None:
        """Show what there is."""
        self.query_one(TimelineView).focus()
        self.show_plan()

    def on_resize(self, event: Resize) -> None:
        """Put the panes beside the timeline where there is width for it, else below."""
        self.set_class(event.size.width >= WIDE, "wide")
        self.show_age()

    def children_changed(self, child_list: ChildList, name: str | None) -> None:
        """Show the plan when it is there."""
        if name == self.child:
            self.show_plan()

    def show_plan(self) -> None:
        """Show the plan, or the sentences that say why there is none."""
        entry, plan = self.home.child_list[self.child], self.plan
        notice = self.query_one("#notice", frame.Notice)
        self.query_one("#told", frame.Notice).say("\n".join(entry.told))
        if plan is None:
            waiting = "Reading the file and planning …" if entry.waiting else ""
            self.query_one("#age", Prose).say([Paragraph(waiting)])
            notice.say("\n".join(entry.problems))
            return
        notice.say("\n".join(paragraphs.conflicts(plan)))
        if plan.firmness.close_call:
            self.query_one("#told", frame.Notice).say("\n".join((*entry.told, firmness.headline(plan))))
        child = plan.child
        words = f"{child.id}: {child.sex}, {age_words(child.age_years)}, {child.diagnosis_label}, {child.affected_side}"
        unsaved = " ✎ not saved" if entry.unsaved and self.home.storage is not None else ""
        self.query_one(frame.Title).update(f"{words}; {plan.on}{unsaved}")
        if not self._opened:
            self.query_one(TimelineView).age = child.age_years
            self._opened = True
        following = next_stage(plan)
        if self.stage is None and following is not None:
            self.stage = following.id
        self.show_stage()

    def show_stage(self) -> None:
        """Show the selected stage in the picture and in the pane."""
        plan, stage = self.plan, self.selected
        if plan is None:
            return
        view = self.query_one(TimelineView)
        if stage is not None and stage.age_years is not None:
            view.follow(stage.age_years)
        view.show_plan(plan, stage.id if stage else None, self.home.goal_mm)
        self.show_age()

    def show_age(self) -> None:
        """Show what is known and expected at the age of the cursor, and the selected stage."""
        plan, stage = self.plan, self.selected
        if plan is None:
            return
        age = paragraphs.at_age(plan, self.query_one(TimelineView).age, self.home.aids)
        said = paragraphs.of_stage(plan, stage) if stage else (Paragraph("The plan has no stages."),)
        if self.has_class("wide"):
            self.query_one("#age", Prose).say(
                (*age, *paragraphs.brackets(plan), GAP, *said, GAP, *paragraphs.of_child(plan))
            )
        else:
            self.query_one("#age", Prose).say(age)
            self.query_one("#stage", Prose).say(said)

    def move_to(self, age: float) -> None:
        """Move the age cursor, held inside the timeline; ages are whole months, or today's."""
        if self.plan is None:
            return
        low, high = timeline_ages(self.plan)
        today = self.plan.child.age_years
        month = round(12 * age) / 12
        held = today if abs(month - today) < 0.5 / 12 else month
        view = self.query_one(TimelineView)
        view.age = max(low, min(high, held))
        view.follow(view.age)
        self.show_age()

    def action_page(self, by: int) -> None:
        """Scroll what is said of the stage, or of age and stage where both stand in one pane."""
        pane = self.query_one("#age" if self.has_class("wide") else "#stage", Prose)
        pane.scroll_relative(y=by * max(1, pane.size.height - 1), animate=False)

    def action_zoom(self, by: int) -> None:
        """Show fewer or more years around the cursor."""
        self.query_one(TimelineView).zoom(by)

    def action_whole(self) -> None:
        """Show the whole timeline."""
        self.query_one(TimelineView).show_whole()

    def action_pan(self, by: int) -> None:
        """Move the part of the timeline that is shown."""
        self.query_one(TimelineView).pan(by)

    def action_age(self, by: int) -> None:
        """Move the age cursor by a step of whole months."""
        view = self.query_one(TimelineView)
        self.move_to(view.age + by * view.step_years)

    def action_year(self, by: int) -> None:
        """Move the age cursor by a year."""
        self.move_to(self.query_one(TimelineView).age + by)

    def on_timeline_view_age_picked(self, event: TimelineView.AgePicked) -> None:
        """Move the age cursor to where was clicked."""
        self.move_to(event.age)

    def on_picture_view_picked(self, event: PictureView.Picked) -> None:
        """Select the stage that was clicked."""
        self.select(event.stage)
