"""The home of a child: what is next and why, stages and leg difference on one age axis, an age cursor."""

from __future__ import annotations

from collections.abc import Iterator
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Container
from textual.events import Resize

from pathway.plan.model import Plan
from pathway.views.pictures.lanes import HEAD_ROWS
from pathway.views.pictures.picture import Role
from pathway.views.pictures.symbols import Symbols
from pathway.views.pictures.timeline import GUTTER, legend
from pathway.views.words import paragraphs
from pathway.views.words.children import next_stage
from pathway.views.words.done import PASSED, unrecorded
from pathway.views.words.paragraphs import Paragraph
from pathway.views.words.strip import strip
from pathway.views.words.titles import title_of
from tui import keys, saving_words
from tui.opened import ChildList
from tui.screens.base import ChildScreen
from tui.screens.message import MessageScreen
from tui.widgets import frame
from tui.widgets.aged_view import AgedView
from tui.widgets.curve_view import CurveView
from tui.widgets.picture_view import PictureView
from tui.widgets.prose import Prose
from tui.widgets.strip_view import LegendView, StripView
from tui.widgets.timeline_view import TimelineView
from tui.widgets.told import LOW as BRIEF_BELOW
from tui.widgets.told import Told

WIDE, TALL = 110, 34
"""From here on lanes and curve stand on one screen; on a smaller one a key shows the other."""
LEAST_CURVE, LEAST_LANES = 11, 8
SHARE_OF_CURVE = 0.4
GAP = Paragraph("")


class Body(Container):
    """Holds lanes and curve; says to its screen when its size changed."""

    def on_resize(self, _event: Resize) -> None:
        """Share the rows out anew."""
        if isinstance(self.screen, TimelineScreen):
            self.screen.share_rows()


class TimelineScreen(ChildScreen):
    """The timeline of one child."""

    BINDINGS: ClassVar[list[BindingType]] = [*keys.TIMELINE]
    HELP_HEAD = "Timeline"
    DRAWS: ClassVar[bool] = True
    DEFAULT_CSS = """
    TimelineScreen #body { layout: vertical; height: 1fr; width: 100%; }
    TimelineScreen TimelineView { height: 1fr; width: 100%; }
    TimelineScreen #lower { display: none; height: 1fr; width: 100%; }
    TimelineScreen #lower CurveView { height: 1fr; width: 1fr; }
    TimelineScreen #panes { dock: bottom; layout: horizontal; height: 6; width: 100%; }
    TimelineScreen #panes Prose { width: 1fr; height: 100%; }
    TimelineScreen.other TimelineView { display: none; }
    TimelineScreen.other #lower { display: block; }
    TimelineScreen.wide TimelineView { display: block; }
    TimelineScreen.wide #lower { display: block; layout: horizontal; }
    TimelineScreen.wide.other #lower { display: none; }
    TimelineScreen.wide #panes { dock: none; height: 100%; }
    TimelineScreen.wide #panes #stage { display: none; }
    """

    def __init__(self, child: str, stage: str | None = None) -> None:
        super().__init__(child, stage)
        self._opened = False

    def compose(self) -> ComposeResult:
        """Lay out title, caution, notice, strip, lanes, curve with its panes, legend, keys."""
        yield frame.Title(self.child)
        yield frame.Caution()
        yield frame.Notice(id="notice")
        yield Told(id="told")
        yield StripView(id="strip", panel=True, focus=False)
        with Body(id="body"):
            yield TimelineView(id="timeline")
            with Container(id="lower"):
                with Container(id="panes"):
                    yield Prose(id="age", panel=True, focus=False)
                    yield Prose(id="stage", panel=True, focus=False)
                yield CurveView(id="curve")
        yield LegendView(id="legend")
        yield frame.keys()

    def on_mount(self) -> None:
        """Show what there is."""
        self.query_one(TimelineView).focus()
        self.show_plan()

    @property
    def wide(self) -> bool:
        """Return whether lanes and curve stand on one screen."""
        return self.has_class("wide")

    @property
    def curve_seen(self) -> bool:
        """Return whether the curve is on the screen."""
        return self.wide != self.has_class("other")

    def on_resize(self, event: Resize) -> None:
        """Show lanes and curve together where there is room for both, else one of them."""
        self.set_class(event.size.width >= WIDE and event.size.height >= TALL, "wide")
        self.show_frame()
        self.show_age()

    def share_rows(self) -> None:
        """Give the lanes the rows that they need and the curve the rest, each its least; align the curve to them."""
        view, lower = self.query_one(TimelineView), self.query_one("#lower", Container)
        room = self.query_one(Body).size.height
        if self.wide:
            asked = max(LEAST_CURVE, int(SHARE_OF_CURVE * room), room - view.rows)
            lower.styles.height = max(1, min(asked, room - HEAD_ROWS - LEAST_LANES))
            if view.axis is not None:
                self.query_one("#panes").styles.width = view.axis.left - GUTTER
        else:
            lower.styles.height = "1fr"
            self.query_one("#panes").styles.width = "100%"
        self.show_curve()

    def children_changed(self, child_list: ChildList, name: str | None) -> None:
        """Show the plan when it is there."""
        if name == self.child:
            self.show_plan()

    def show_plan(self) -> None:
        """Show the plan, or the sentences that say why there is none."""
        entry, plan = self.home.child_list[self.child], self.plan
        notice = self.query_one("#notice", frame.Notice)
        self.query_one(Told).tell(entry.told)
        if plan is None:
            waiting = "Reading the file and planning …" if entry.waiting else ""
            self.query_one(StripView).tell((Paragraph(waiting),) if waiting else ())
            notice.say("\n".join(entry.problems))
            return
        notice.say("\n".join(paragraphs.conflicts(plan)))
        if not self._opened:
            self._set_age(plan.child.age_years)
            self._opened = True
        following = next_stage(plan)
        if self.stage is None and following is not None:
            self.stage = following.id
        self.show_frame()
        self.show_stage()

    def show_frame(self) -> None:
        """Show title, strip and legend of the plan, as brief as the screen is small."""
        plan = self.plan
        self.query_one(Told).lay_out()
        if plan is None:
            return
        entry, storage = self.home.child_list[self.child], self.home.storage
        standing = saving_words.standing(entry, None if storage is None else storage.plans)
        unsaved = "✎ not saved" if entry.unsaved and storage is not None else ""
        later = None if entry.session is None else entry.session.record.last_after(plan.on)
        ahead = "" if later is None else f"later entries exist (last {later})"
        state = filter(None, (unsaved, standing, ahead))
        self.query_one(frame.Title).update(title_of(plan, state, self.size.width - 2))
        low, curve = self.size.height < BRIEF_BELOW, self.curve_seen
        # Where there is room for one of them, the strip goes with the lanes and makes way for the curve.
        self.query_one(StripView).tell(() if low and curve else (*strip(plan, brief=low), *self._unrecorded(plan)))
        view, lanes = self.query_one(LegendView), self.wide or not curve
        past = lanes and self.query_one(TimelineView).past
        width = max(20, self.size.width)
        shaded = self.home.no_color or self.home.symbols is not Symbols.BRAILLE
        marks = legend(plan, width, self.home.goal_mm, past=past, shaded=shaded, lanes_shown=lanes, curve_shown=curve)
        view.styles.height = marks.height
        view.show(marks)

    def _unrecorded(self, plan: Plan) -> Iterator[Paragraph]:
        """Yield what was accepted for a day that has passed and is not entered as done."""
        plans = None if self.home.storage is None else self.home.storage.plans
        last = None if plans is None else plans.accepted(self.child)
        if last is not None and (words := unrecorded(last.data, plan)):
            yield Paragraph(words, mark=PASSED, role=Role.STAGE_READY)

    def show_stage(self) -> None:
        """Show the selected stage in the picture and in the pane."""
        plan, stage = self.plan, self.selected
        if plan is None:
            return
        view = self.query_one(TimelineView)
        if stage is not None and stage.age_years is not None:
            view.follow(stage.age_years)
        rows = view.rows
        view.show_plan(plan, stage.id if stage else None)
        if view.rows != rows:
            self.share_rows()
        self.show_curve()
        self.show_age()

    def show_curve(self) -> None:
        """Show the curve on the axis of the lanes, or on one of its own where it stands alone."""
        plan, view = self.plan, self.query_one(TimelineView)
        if plan is None or not self.curve_seen:
            return
        wide = None if view.axis is None or not self.wide else view.axis.right - view.axis.left
        self.query_one(CurveView).show_curve(plan, view.ages(plan), wide, self.home.goal_mm)

    def show_age(self) -> None:
        """Show what is known and expected at the age of the cursor, and the selected stage."""
        plan, stage = self.plan, self.selected
        if plan is None or not self.curve_seen:
            return
        age = paragraphs.at_age(plan, self.query_one(TimelineView).age, self.home.aids)
        said = paragraphs.of_stage(plan, stage) if stage else (Paragraph("The plan has no stages."),)
        if self.wide:
            self.query_one("#age", Prose).say(
                (*age, *paragraphs.brackets(plan), GAP, *said, GAP, *paragraphs.of_child(plan))
            )
        else:
            self.query_one("#age", Prose).say(age)
            self.query_one("#stage", Prose).say(said)

    def show_symbols(self, symbols: Symbols) -> None:
        """Draw with other symbols from now on."""
        super().show_symbols(symbols)
        self.show_plan()
        self.query_one(TimelineView).repaint()

    def _set_age(self, age: float) -> None:
        for view in self.query(AgedView):
            view.age = age

    def move_to(self, age: float) -> None:
        """Move the age cursor, held inside the timeline; ages are whole months, or today's."""
        if self.plan is None:
            return
        view = self.query_one(TimelineView)
        low, high = view.whole(self.plan)
        today = self.plan.child.age_years
        month = round(12 * age) / 12
        held = today if abs(month - today) < 0.5 / 12 else month
        self._set_age(max(low, min(high, held)))
        view.follow(view.age)
        self.show_curve()
        self.show_age()

    def action_told(self) -> None:
        """Open all that is told of the last edit; once read it leaves the timeline."""
        self.home.push_screen(MessageScreen(self.child, self.query_one(Told).told))

    def on_screen_suspend(self) -> None:
        """Put away what was told of the last edit: who goes on has read it; what comes of it yet is told anew."""
        self.query_one(Told).put_away()

    def action_page(self, by: int) -> None:
        """Scroll what is said of the stage, or the lanes where they stand alone."""
        if not self.curve_seen:
            view = self.query_one(TimelineView)
            view.scroll_rows(by * max(1, view.size.height - HEAD_ROWS - 1))
            return
        pane = self.query_one("#age" if self.wide else "#stage", Prose)
        pane.scroll_relative(y=by * max(1, pane.size.height - 1), animate=False)

    def action_zoom(self, by: int) -> None:
        """Show fewer or more years around the cursor."""
        self.query_one(TimelineView).zoom(by)
        self.show_curve()

    def action_whole(self) -> None:
        """Show the whole timeline."""
        self.query_one(TimelineView).show_whole()
        self.show_curve()

    def action_pan(self, by: int) -> None:
        """Move the part of the timeline that is shown."""
        self.query_one(TimelineView).pan(by)
        self.show_curve()

    def action_curve(self) -> None:
        """Show the curve in place of the lanes, or the lanes alone where both stand on one screen; again: as before."""
        self.toggle_class("other")
        self.show_frame()
        self.call_after_refresh(self.show_stage)

    def action_past(self) -> None:
        """Show what is done, or fold it away."""
        view = self.query_one(TimelineView)
        view.open_past(past=not view.past)
        if self.plan is not None:
            self.move_to(view.age)
        self.show_frame()
        self.share_rows()

    def action_age(self, by: int) -> None:
        """Move the age cursor by a step of whole months."""
        view = self.query_one(TimelineView)
        self.move_to(view.age + by * view.step_years)

    def action_year(self, by: int) -> None:
        """Move the age cursor by a year."""
        self.move_to(self.query_one(TimelineView).age + by)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Return whether an action can be done now: there is a past to open only where something is done."""
        if action == "told":
            return self.is_mounted and bool(self.query_one(Told).told)
        if action == "past":
            return self.plan is not None and any(stage.status == "done" for stage in self.plan.stages)
        return super().check_action(action, parameters)

    def on_aged_view_age_picked(self, event: AgedView.AgePicked) -> None:
        """Move the age cursor to where was clicked."""
        self.move_to(event.age)

    def on_picture_view_picked(self, event: PictureView.Picked) -> None:
        """Select the stage that was clicked."""
        self.select(event.stage)
