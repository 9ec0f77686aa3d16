"""What somebody who accepts a plan accepts: what changed, the next steps with their days, what is not known."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping, Sequence

from pathway.days import add_months
from pathway.plan.model import LastBy, Plan, PlanStage
from pathway.plan.waiting import may_wait_until
from pathway.questions.followup import Preview
from pathway.questions.last_days import last_by
from pathway.views.pictures.picture import Role
from pathway.views.words import firmness, paragraphs
from pathway.views.words.changes import change_paragraphs
from pathway.views.words.paragraphs import Paragraph, in_date_order
from pathway.views.words.plan import amount_words
from pathway.views.words.waits import held_words, needed_words

MONTHS_IN_FULL = 12
COMING = ("ready", "later", "blocked")
ENDS: Mapping[LastBy, tuple[str, str]] = {
    "growth": ("cannot be made up after that", "cannot be made up after"),
    "rule_of_use": ("its usual latest age", "usual latest age"),
}
"""What is said of a last day: of the one until which a step may wait, and of one that lies after that."""
NO_COURSE = "No course is planned for length: what is accepted are the steps below."
FIRST_TIME = "Nothing was accepted of this child before."
LOOKING = "Looking for the fact behind each change …"


def accepted_words(on: datetime.date, by: str, who: str, reason: str) -> str:
    """Return when a plan was accepted, by whom, who entered it and why."""
    accepter = f" by the {by}, entered by {who}" if by else f" by {who}"
    return f"accepted{accepter}, as planned on {on}{f', because: {reason}' if reason else ''}"


def next_steps(plan: Plan) -> Iterator[Paragraph]:
    """Yield all operations to come and what comes within a year, by date: its day, its amount, how long it may wait.

    Visits and checks of later years are counted: they go with the operations.
    """
    under_way = [stage for stage in in_date_order(plan) if stage.status == "under_way"]
    if under_way:
        yield Paragraph("Under way", heading=True)
    for stage in under_way:
        until = f", to {stage.end_date}" if stage.end_date is not None and stage.end_date > plan.on else ""
        yield Paragraph(f"{stage.label}, since {stage.date}{until}", 1)
    yield Paragraph("Next steps", heading=True)
    steps = [stage for stage in in_date_order(plan) if stage.date is not None and stage.status in COMING]
    if not steps:
        yield Paragraph("None has a date.", 1)
    soon = add_months(plan.on, MONTHS_IN_FULL)
    told = [stage for stage in steps if stage.operation or (stage.date is not None and stage.date <= soon)]
    yield from (Paragraph(_step(stage), 1) for stage in told)
    if left := len(steps) - len(told):
        words = "visit or check" if left == 1 else "visits and checks"
        yield Paragraph(f"and {left} {words} of later years; the timeline has their dates", 1, Role.LEGEND)


def not_known(plan: Plan) -> Iterator[Paragraph]:
    """Yield the findings that are missing, what waits for them and by when."""
    yield Paragraph("Not known", heading=True)
    if not plan.open_questions:
        yield Paragraph("Nothing that the next steps wait for.", 1)
    for item in plan.open_questions:
        side = f", {item.side}" if item.side else ""
        by = f", by {item.by}" if item.by else ""
        wanted = f": {needed_words(plan, item)}" if item.needed_for else ""
        yield Paragraph(f"{item.label}{side}{by}{wanted}", 1, mark="?")


def what_is_accepted(
    plan: Plan, unsaved: Sequence[str] = (), since: str = "", changed: Preview | None = None
) -> Iterator[Paragraph]:
    """Yield all that stands behind an acceptance, what needs a thought first.

    `unsaved` is what is saved with it. `since` says which plan was accepted last, "" where none was; `changed` is what
    is different from that.
    """
    if close := firmness.headline(plan):
        yield Paragraph(close, role=Role.STAGE_READY, heading=True)
    yield from (Paragraph(text, role=Role.STAGE_BLOCKED) for text in paragraphs.conflicts(plan))
    yield Paragraph("Since the last accepted plan", heading=True)
    yield Paragraph(f"Last {since}." if since else FIRST_TIME, 1, Role.LEGEND)
    if changed is not None:
        yield from change_paragraphs(changed, LOOKING)
    best = plan.recommended
    yield Paragraph("Course", heading=True)
    yield Paragraph(NO_COURSE if best is None else f"{best.summary[0].upper()}{best.summary[1:]}.", 1)
    yield from next_steps(plan)
    yield from not_known(plan)
    if unsaved:
        yield Paragraph("Saved with it", heading=True)
        yield from (Paragraph(text, 1) for text in unsaved)


def _step(stage: PlanStage) -> str:
    amount = f", {words}" if (words := amount_words(stage)) else ""
    state = f", blocked: {held_words([stage])}" if stage.status == "blocked" else ""
    until = may_wait_until(stage)
    waits = f"; may wait until {until}" if until is not None and until != stage.date else ""
    last = stage.window.latest if stage.window is not None else None
    ends = ENDS.get(last_by(stage)) if last is not None else None
    if ends is not None and last != stage.date:
        waits += f", {ends[0]}" if last == until else f"; {ends[1]} {last}"
    return f"{stage.date}  {stage.label}{amount}{state}{waits}"
