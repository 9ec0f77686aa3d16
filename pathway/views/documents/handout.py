"""The family's document: the plan in plain words, in the order in which a family asks."""

from __future__ import annotations

from collections.abc import Iterator

from pathway.courses.course import PROSTHETIC_COURSE
from pathway.plan.model import Plan, PlanStage
from pathway.protocol.model import Protocol
from pathway.protocol.roles import role_of
from pathway.views.documents.choices import choices
from pathway.views.documents.document import Block, Bullets, Callout, Card, Document, Figure, Heading, Lines, Paragraph
from pathway.views.drawings.growth import NARROW_MM, changes_length, growth_drawing
from pathway.views.drawings.timeline import timeline_drawing
from pathway.views.words import family_roads, roads
from pathway.views.words import family_terms as say
from pathway.views.words.caution import is_invented
from pathway.views.words.family_terms import MOST_QUESTIONS, Step
from pathway.views.words.wording import Wording

OPEN_GATES = ("fails", "unknown")
MOST_LATE = 3
FEW = 4
"""Up to so many steps without a date stay together on one page."""


def handout(plan: Plan, words: Wording, protocol: Protocol) -> Document:
    """Return the family's document of a plan."""
    child = plan.child
    age, side = say.age_of(child.age_years, words), words.say(child.affected_side)
    day, name = words.day(plan.on), "handout.subtitle_both" if child.affected_side == "both" else "handout.subtitle"
    blocks = (
        *_head(plan, words),
        *_short(plan, words),
        *_ways(plan, words),
        *_road(plan, words, protocol),
        *_growth(plan, words),
        *_steps(plan, words, protocol),
        *_artificial(plan, words),
        *_change(plan, words),
        *choices(plan, words, protocol),
        Heading(words.say("questions.title"), whole=True),
        Bullets(words.items("questions.items"), columns=2),
        Lines(words.say("questions.room"), 5),
        *_facts(plan, words),
    )
    return Document(
        words.say("handout.title"),
        words.say(name, child=child.id, age=age, **({} if child.affected_side == "both" else {"side": side})),
        words.language,
        words.say("handout.footer", child=child.id, day=day),
        blocks,
        direction=words.direction,
    )


def _head(plan: Plan, words: Wording) -> Iterator[Block]:
    yield Paragraph(words.say("handout.made", day=plan.on), "small")
    lines = (say.caution_of(plan, words), *((words.say("invented"),) if is_invented(plan.child.note) else ()))
    yield Callout(words.say("handout.caution_title"), lines)


def _short(plan: Plan, words: Wording) -> Iterator[Block]:
    yield Heading(words.say("handout.short_title"))
    lines: list[str] = []
    side, measured = words.say(plan.child.affected_side), plan.growth.measured
    both = plan.child.affected_side == "both"
    if measured and both:
        lines.append(words.say("handout.short_both", now=say.cm(abs(measured[-1].discrepancy_mm), words)))
    elif measured:
        now = measured[-1].discrepancy_mm
        name = "short_even" if round(now / 10, 1) == 0 else "short_now" if now > 0 else "short_longer"
        lines.append(words.say(f"handout.{name}", side=side, now=say.cm(abs(now), words)))
    if both:
        lines.append(words.say("both_legs.intro"))
    elif plan.growth.at_maturity is None:
        lines.append(words.say("handout.short_unknown"))
    else:
        middle = say.cm(plan.growth.at_maturity.discrepancy_mm.p50, words)
        lines.append(words.say("handout.short_grows", middle=middle))
    ahead = [s for s in plan.stages if s.operation and s.date is not None and not s.begun]
    if ahead:
        first = min(ahead, key=lambda stage: (str(stage.date), plan.stages.index(stage)))
        values = {"next": _name(first, words), "when": say.month_of(first.date or plan.on, words)}
        # What is done under one anaesthetic is one operation to a family.
        count = len({stage.date for stage in ahead})
        name = "short_open" if roads.road_is_open(plan) else "short_plan_one" if count == 1 else "short_plan"
        lines.append(words.say(f"handout.{name}", operations=say.many(count, words), **values))
    elif plan.recommended is not None and plan.recommended.id == PROSTHETIC_COURSE:
        asked = plan.roads is not None and plan.roads.chosen == "prosthetic"
        lines.append(words.say("handout.short_asked" if asked else "handout.short_prosthesis"))
    else:
        lines.append(words.say("handout.short_plan_none"))
    if ahead and plan.firmness.close_call:
        lines.append(_close_call(plan, words))
    lines.append(words.say("handout.short_team"))
    yield Paragraph(" ".join(lines), "lead")


def _close_call(plan: Plan, words: Wording) -> str:
    """Return between which first steps the plan is undecided, and what decides."""
    first, second = (
        " + ".join(
            say.name_of(say.kind_of(id), words, label)
            for id, label in zip((op.stage, *op.also), (op.label, *op.also_labels), strict=True)
        )
        for op in plan.firmness.between
    )
    decides = plan.firmness.decide_on
    if decides is None:
        return words.say("handout.short_close_choose", first=first, second=second)
    return words.say("handout.short_close", first=first, second=second, when=say.month_of(decides.on, words))


def _ways(plan: Plan, words: Wording) -> Iterator[Block]:
    """Yield the two ways with the reasons, or what two affected legs mean, before any step is told."""
    if plan.child.affected_side == "both":
        yield Heading(words.say("both_legs.title"))
        said = (words.say("both_legs.aims"), words.say("both_legs.no_guess"), family_roads.not_planned(plan, words))
        yield Paragraph(" ".join(text for text in said if text))
    if not family_roads.two_ways(plan):
        return
    yield Heading(words.say("roads.title"))
    yield Bullets(tuple(family_roads.how_they_stand(plan, words)))
    course = plan.recommended
    if roads.road_is_open(plan) or (course is not None and course.id == PROSTHETIC_COURSE):
        yield Heading(words.say("roads.longer_title"), 3)
        yield Bullets(tuple(family_roads.longer_leg(plan, words)))
    if roads.prosthetic_stages(plan):
        yield Heading(words.say("roads.artificial_title"), 3)
        yield Bullets((words.say("roads.artificial"),))


def _artificial(plan: Plan, words: Wording) -> Iterator[Block]:
    """Yield the steps of the way of an artificial leg in their usual order: ages, no dates."""
    steps = tuple(family_roads.artificial_steps(plan, words))
    if steps:
        numbers = source_numbers(plan)
        yield Heading(words.say("roads.artificial_title"), 2)
        yield Paragraph(words.say("roads.artificial_steps"))
        feet = tuple(_cited((stage,), words, numbers) for stage, _ in steps)
        yield Bullets(tuple(text for _, text in steps), feet=feet)


def _road(plan: Plan, words: Wording, protocol: Protocol) -> Iterator[Block]:
    yield Heading(words.say("timeline.title"))
    if not say.steps(plan) and not say.finished(plan):
        yield Paragraph(words.say("timeline.empty"))
        return
    if roads.road_is_open(plan) and plan.child.affected_side != "both":
        yield Paragraph(words.say("timeline.open"))
    wide, narrow = timeline_drawing(plan, words, protocol), timeline_drawing(plan, words, protocol, NARROW_MM)
    yield Figure(wide, narrow, words.say("timeline.caption"))


def _growth(plan: Plan, words: Wording) -> Iterator[Block]:
    yield Heading(words.say("growth.title"))
    at, measured = plan.growth.at_maturity, plan.growth.measured
    wide, narrow = growth_drawing(plan, words), growth_drawing(plan, words, NARROW_MM)
    if at is None or wide is None or narrow is None:
        both = plan.child.affected_side == "both"
        yield Paragraph(words.say("both_legs.no_guess" if both else "growth.no_curve"))
        return
    lines = []
    if measured:
        now = _gap_now(measured[-1].discrepancy_mm, words.say(plan.child.affected_side), words)
        lines.append(words.say("growth.now", when=say.month_of(measured[-1].date, words), now=now))
    spread = at.discrepancy_mm
    lines.append(words.say("growth.range", low=say.cm(spread.p05, words), high=say.cm(spread.p95, words)))
    if ranges := tuple(_ranges(plan, words)):
        lines.append(words.say("growth.ages", ranges=say.joined(ranges, words)))
    yield Paragraph(" ".join(lines))
    course = plan.recommended
    if course is not None and course.residual_mm is not None and course.chance_within_20_mm is not None:
        low, high = say.signed(course.residual_mm.p05, words), say.signed(course.residual_mm.p95, words)
        chance = round(100 * course.chance_within_20_mm)
        yield Paragraph(words.say("growth.plan_range", low=low, high=high, chance=chance))
    yield Figure(wide, narrow, words.say("growth.caption" if changes_length(plan) else "growth.caption_natural"))


def _gap_now(gap_mm: float, side: str, words: Wording) -> str:
    if round(gap_mm / 10, 1) == 0:
        return words.say("growth.now_equal")
    return words.say("growth.now_gap", side=side, gap=say.signed(gap_mm, words))


def _ranges(plan: Plan, words: Wording) -> Iterator[str]:
    """Yield the range without operation at one and at two thirds of the way, in whole years of age."""
    now, end = plan.child.age_years, plan.growth.mature_age_years
    ages = {round(now + (end - now) * third / 3) for third in (1, 2)}
    for age in sorted(age for age in ages if now + 0.5 < age < end - 0.5):
        point = min(plan.growth.by_age, key=lambda known: abs(known.age_years - age))
        low, high = say.cm(point.discrepancy_mm.p05, words), say.cm(point.discrepancy_mm.p95, words)
        yield words.say("growth.at_age", low=low, high=high, age=say.age_of(age, words))


def _name(stage: PlanStage, words: Wording) -> str:
    return say.name_of(stage.kind, words, stage.label)


def _steps(plan: Plan, words: Wording, protocol: Protocol) -> Iterator[Block]:
    yield Heading(words.say("steps.title"))
    yield Paragraph(words.say("steps.intro"))
    numbers = source_numbers(plan)
    told: dict[str, int] = {}
    for step in say.steps(plan):
        yield _card(plan, step, words, protocol, numbers, told)
    for status, name in (("optional", "maybe"), ("blocked", "blocked")):
        loose = [stage for stage in roads.other_stages(plan) if stage.date is None and stage.status == status]
        if loose:
            yield Heading(words.say(f"steps.{name}_title"), 3, whole=len(loose) <= FEW)
            yield Paragraph(words.say(f"steps.{name}"))
            feet = tuple(_cited((stage,), words, numbers) for stage in loose)
            both = plan.child.affected_side == "both"
            yield Bullets(tuple(_loose(stage, words, sided=both) for stage in loose), feet=feet)


def _loose(stage: PlanStage, words: Wording, *, sided: bool) -> str:
    """Return a step without a date in a line; `sided` names the leg, where both are affected."""
    what, name = words.inner(say.what_of(stage, words)), _name(stage, words)
    if sided and stage.side in ("left", "right"):
        name = words.say("steps.sided", name=name, side=words.say(stage.side))
    likely = f" {words.say('steps.likely')}" if stage.likely else ""
    return f"{name}: {what}{likely}"


def _cited(stages: tuple[PlanStage, ...], words: Wording, numbers: dict[str, int]) -> str:
    cited = sorted({numbers[id] for stage in stages for id in sources_of(stage) if id in numbers})
    return words.say("steps.sources", numbers=", ".join(words.number(n) for n in cited)) if cited else ""


def _card(
    plan: Plan, step: Step, words: Wording, protocol: Protocol, numbers: dict[str, int], told: dict[str, int]
) -> Card:
    """Return the card of a step; `told` is what earlier cards said, and where. It is added to."""
    first = step.stages[0]
    late = f" {words.say('steps.late')}" if any(roads.late_words(plan, stage) for stage in step.stages) else ""
    facts = [(words.say("steps.what"), f"{_whats(step, words)}{late}")]
    if long := _long(first, words, protocol):
        facts.append((words.say("steps.long"), long))
    if with_it := _with_it(plan, step, words):
        facts.append((words.say("steps.with_it"), with_it))
    amounts = [stage.amount_mm for stage in step.stages if stage.amount_mm is not None]
    if amounts:
        kind = "steps.grow_less" if role_of(step.kind, protocol) == "growth_arrest" else "steps.amount"
        amount = say.joined(tuple(say.cm(mm, words) for mm in amounts), words)
        facts.append((words.say("steps.much"), words.say(kind, amount=amount)))
    known = dict.fromkeys(text for stage in step.stages for text in say.beyond_of(stage, words))
    if known:
        new = [text for text in known if text not in told]
        again = (
            words.say("steps.beyond_again", step=min(told[text] for text in known if text in told)) if not new else ""
        )
        told.update(dict.fromkeys(new, step.number))
        facts.append((words.say("steps.large"), again or words.say("steps.beyond", known=" ".join(new))))
    care = f"stages.{step.kind}.care"
    if words.has(care):
        name = "nail" if say.by_nail(first) and words.has("care.nail.home") else words.say(care)
        if f"care.{name}" in told:
            facts.append((words.say("steps.home"), words.say("steps.as_before", step=told[f"care.{name}"])))
        else:
            told[f"care.{name}"] = step.number
            for place in ("home", "school"):
                facts.append((words.say(f"steps.{place}"), words.say(f"care.{name}.{place}")))
    foot = _cited(step.stages, words, numbers)
    return Card(words.number(step.number), _name(first, words), _when(plan, step, words), tuple(facts), foot)


def _with_it(plan: Plan, step: Step, words: Wording) -> str:
    """Return what goes with a step, each kind once, in the order of its first day: visits before it, exercises."""
    ids = {stage.id for stage in step.stages}
    around = sorted((s for s in plan.stages if s.goes_with in ids), key=lambda stage: (stage.date or plan.on, stage.id))
    return " ".join(dict.fromkeys(say.what_of(stage, words) for stage in around))


def _whats(step: Step, words: Wording) -> str:
    """Return what is done in a step, and what is done otherwise the next times: by a nail in place of a frame."""
    first, *others = dict.fromkeys(say.what_of(stage, words) for stage in step.stages)
    return " ".join((first, *(words.say("steps.later", what=what) for what in others)))


def _when(plan: Plan, step: Step, words: Wording) -> str:
    whens = []
    for stage in step.stages:
        if stage.status == "ready" and stage.date == plan.on:
            whens.append(words.say("steps.ready"))
        elif stage.date is not None:
            when, age = say.month_of(stage.date, words), say.age_of(stage.age_years or 0, words)
            whens.append(words.say("steps.each", when=when, age=age))
    return say.joined(tuple(dict.fromkeys(whens)), words)


def _long(stage: PlanStage, words: Wording, protocol: Protocol) -> str:
    lengthens = role_of(stage.kind, protocol) == "lengthening"
    if lengthens and stage.duration_months and stage.duration_range_months:
        low, high = (round(months) for months in stage.duration_range_months)
        told = "steps.nail_months" if say.by_nail(stage) and words.has("steps.nail_months") else "steps.frame_months"
        return words.say(told, months=round(stage.duration_months), low=low, high=high)
    if not stage.duration_months:
        return ""
    months = round(stage.duration_months)
    return words.say("steps.followed" if stage.lane == say.CHECKS else "steps.months", count=months, months=months)


def _change(plan: Plan, words: Wording) -> Iterator[Block]:
    yield Heading(words.say("change.title"))
    lines = [words.say("change.growth")]
    if plan.growth.next_visit:
        lines[0] += " " + words.say("change.next_visit")
    for stage in plan.stages:
        open_gates = [gate for gate in stage.gates if gate.state in OPEN_GATES]
        if open_gates and stage.status not in ("done", "optional", "blocked"):
            again = [gate.look_again_on for gate in open_gates if gate.look_again_on is not None]
            name = "gates" if again else "gates_now"
            when = {"when": say.month_of(min(again), words)} if again else {}
            lines.append(words.say(f"change.{name}", step=_name(stage, words), count=len(open_gates), **when))
    for question in plan.open_questions[:MOST_QUESTIONS]:
        name = "measure_open" if question.by is None else "measure"
        finding = say.question_of(question, words)
        if question.side:
            finding = words.say("steps.sided", name=finding, side=words.say(question.side))
        by = {} if question.by is None else {"when": say.month_of(question.by, words)}
        lines.append(words.say(f"change.{name}", finding=finding, **by))
    more = len(plan.open_questions) - MOST_QUESTIONS
    if more > 0:
        lines.append(words.say("change.measure_more", count=more))
    lines += _delays(plan, words)
    course = plan.recommended
    if course is not None and len(course.lengthenings_needed) > 1:
        planned = sum(not item.physes for item in course.stages)
        other = sum(item.share for item in course.lengthenings_needed if item.lengthenings != planned)
        lines.append(words.say("change.more", share=round(100 * other)))
    yield Bullets((*dict.fromkeys(lines), words.say("change.wishes")))


def _delays(plan: Plan, words: Wording) -> Iterator[str]:
    """Yield which of the next operations move other dates when they come later, in one sentence."""
    bound = []
    for stage in plan.stages:
        if stage.operation and stage.date and stage.status != "done" and stage.free_slack_days is not None:
            latest = stage.date.fromordinal(stage.date.toordinal() + stage.free_slack_days)
            told = {"step": _name(stage, words), "when": say.month_of(latest, words)}
            if sum(other.kind == stage.kind for other in plan.stages) > 1:
                text = words.say("change.late_again", planned=say.month_of(stage.date, words), **told)
            else:
                text = words.say("change.late", **told)
            bound.append((stage.date, text))
    if bound:
        said = tuple(text for _, text in sorted(bound)[:MOST_LATE])
        yield words.say("change.delay", steps=say.joined(said, words, "or"))


def sources_of(stage: PlanStage) -> tuple[str, ...]:
    """Return the ids of the sources behind a stage and the reasons for it, each once."""
    return tuple(dict.fromkeys([*stage.sources, *(id for reason in stage.because for id in reason.sources)]))


def source_numbers(plan: Plan) -> dict[str, int]:
    """Return the number of each source that the document cites, in the order of the plan."""
    shown = [stage for step in say.steps(plan) for stage in step.stages]
    shown += [stage for stage in plan.stages if stage.date is None]
    cited = {id for stage in shown for id in sources_of(stage)}
    return {line.id: n for n, line in enumerate((line for line in plan.sources if line.id in cited), start=1)}


def _facts(plan: Plan, words: Wording) -> Iterator[Block]:
    yield Heading(words.say("facts.title"), whole=True)
    measured, growth = plan.growth.measured, plan.growth
    lines = []
    if measured:
        when = say.month_of(measured[-1].date, words)
        if len(measured) == 1:
            lines.append(words.say("facts.child_one", when=when))
        else:
            lines.append(words.say("facts.child", count=say.many(len(measured), words), when=when))
    else:
        lines.append(words.say("facts.child_none"))
    if growth.at_maturity is not None:
        lines.append(words.say("facts.growth", curve=growth.curve))
    lines.append(words.say("facts.rules", name=plan.protocol.name, version=plan.protocol.version))
    lines.append(words.say("facts.practice"))
    known = [reason.provenance for stage in plan.stages for reason in stage.because]
    known += [gate.provenance for stage in plan.stages for gate in stage.gates]
    if "memory" in known:
        lines.append(words.say("facts.memory"))
    yield Bullets(tuple(lines))
    numbers = source_numbers(plan)
    if numbers:
        cited = [line for line in plan.sources if line.id in numbers]
        yield Heading(words.say("facts.list"), 3)
        yield Bullets(
            tuple(words.of_rule("sources", line.id, line.citation) for line in cited),
            tuple(numbers[line.id] for line in cited),
            small=True,
            columns=2,
        )
    yield Callout(words.say("handout.caution_title"), (say.caution_of(plan, words),))
