"""The family's document: the story in plain words, in the order in which a family asks."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Iterator

from pathway.courses.course import PROSTHETIC_COURSE
from pathway.days import age_years
from pathway.plan.model import Plan, PlanStage
from pathway.plan.waiting import may_wait_until, moves_others
from pathway.protocol.model import Protocol
from pathway.protocol.roles import role_of
from pathway.views.documents.document import (
    Block,
    Bullets,
    Callout,
    Card,
    Document,
    Facts,
    Figure,
    Heading,
    Lines,
    Paragraph,
)
from pathway.views.drawings.growth import NARROW_MM, changes_length, growth_drawing
from pathway.views.drawings.legs import legs_drawing
from pathway.views.drawings.timeline import timeline_drawing
from pathway.views.family.choices import choices, none_chosen, table
from pathway.views.family.harms import about, step_harms, what_can_go_wrong
from pathway.views.family.story import MAIN_HARMS, FamilyStory, story_of
from pathway.views.words import family_roads, roads
from pathway.views.words import family_terms as say
from pathway.views.words.caution import is_invented
from pathway.views.words.family_terms import MOST_QUESTIONS, Step
from pathway.views.words.wording import Wording

OPEN_GATES = ("fails", "unknown")
MOST_LATE = 3
FEW_STEPS = 4
"""Up to so many steps without a date stay together on one page."""
MOST_LOOSE = 6
"""So many steps without a date are told; the others are counted."""


def handout(plan: Plan, words: Wording, protocol: Protocol) -> Document:
    """Return the family's document of a plan whose courses are compared."""
    child, story = plan.child, story_of(plan, protocol)
    age, side = say.age_of(child.age_years, words), words.say(child.affected_side)
    day, name = words.day(plan.on), "handout.subtitle_both" if story.both else "handout.subtitle"
    feet = {stage.id: _cited((stage,), words, source_numbers(plan)) for stage in plan.stages}
    blocks = (
        *_head(plan, words),
        Heading(words.say("handout.short_title")),
        Facts(two_minutes(story, words)),
        *_choices_at_once(story, words),
        *_what_it_is(story, words),
        *_untreated(story, words),
        *_what_next(story, words),
        *_ways(plan, words),
        *_road(plan, words, protocol),
        *_steps(story, words, protocol),
        *choices(story, words, feet),
        *what_can_go_wrong(story, words),
        *_change(plan, words),
        *_answers(story, words),
        *_facts(plan, words),
    )
    return Document(
        words.say("handout.title"),
        words.say(name, child=child.id, age=age, **({} if story.both else {"side": side})),
        words.language,
        words.say("handout.footer", child=child.id, day=day),
        blocks,
        direction=words.direction,
    )


def _head(plan: Plan, words: Wording) -> Iterator[Block]:
    yield Paragraph(words.say("handout.made", day=plan.on), "small")
    lines = (say.caution_of(plan, words), *((words.say("invented"),) if is_invented(plan.child.note) else ()))
    yield Callout(words.say("handout.caution_title"), lines)


def two_minutes(story: FamilyStory, words: Wording) -> tuple[tuple[str, str], ...]:
    """Return the whole story as labels and texts: what it is, how large, what next, the choices, gain and harm."""
    plan = story.plan
    facts = [("what", _has(story, words)), ("gap", _gap(story, words)), ("next", _next(story, words))]
    course = plan.recommended
    if course is not None and course.expected is not None and course.expected.operations.p95 >= 1:
        told = course.expected
        facts.append(
            (
                "gain",
                words.say(
                    "short.gain_open" if none_chosen(story) else "short.gain",
                    two=about(100 * told.chance_within_20_mm, words),
                    count=round(told.operations.mean),
                    operations=say.many(round(told.operations.mean), words),
                ),
            )
        )
    if harm := _short_harms(story, words):
        facts.append(("harm", harm))
    facts.append(("who", words.say("handout.short_team")))
    return tuple((words.say(f"short.{name}_label"), text) for name, text in facts)


def _choices_at_once(story: FamilyStory, words: Wording) -> Iterator[Block]:
    """Yield the choices in one table, for the first page."""
    if len(story.choices) > 1:
        yield Heading(words.say("choices.title_table"), 3)
        yield table(story, words)
        yield Paragraph(words.say("choices.table_note"), "small")


def _has(story: FamilyStory, words: Wording) -> str:
    """Return what the child has in one or two sentences, with the doctors' name for it."""
    child = story.plan.child
    key = f"has.{child.diagnosis}"
    if not words.has(key):
        key = "has.other"
    side = {} if story.both else {"side": words.say(child.affected_side)}
    both = f"{key}_both"
    text = words.say(both) if story.both and words.has(both) else words.say(key, **side)
    return f"{text} {words.say('has.doctors', name=_doctors_name(story, words))}"


def _doctors_name(story: FamilyStory, words: Wording) -> str:
    key = f"has.{story.plan.child.diagnosis}_name"
    return words.say(key) if words.has(key) else story.plan.child.diagnosis_label


def _gap(story: FamilyStory, words: Wording) -> str:
    lines = []
    side = words.say(story.plan.child.affected_side)
    if story.now is not None and story.both:
        lines.append(words.say("handout.short_both", now=say.cm(abs(story.now.discrepancy_mm), words)))
    elif story.now is not None:
        now = story.now.discrepancy_mm
        name = "short_even" if round(now / 10, 1) == 0 else "short_now" if now > 0 else "short_longer"
        lines.append(words.say(f"handout.{name}", side=side, now=say.cm(abs(now), words)))
    if story.both:
        lines.append(words.say("both_legs.intro"))
    elif story.untreated is None:
        lines.append(words.say("handout.short_unknown"))
    else:
        spread = story.untreated
        lines.append(
            words.say(
                "handout.short_grows",
                middle=say.cm(spread.p50, words),
                low=say.cm(spread.p05, words),
                high=say.cm(spread.p95, words),
            )
        )
    return " ".join(lines)


def _next(story: FamilyStory, words: Wording) -> str:
    """Return the next operation and the next visit, or what must be measured first."""
    plan, lines = story.plan, []
    if story.next_operations:
        first = story.next_operations[0]
        when = say.month_of(first.date or plan.on, words)
        age = say.age_of(first.age_years or plan.child.age_years, words)
        name = "operation_open" if roads.road_is_open(plan) else "operation"
        next_ = _quoted(tuple(_name(stage, words) for stage in story.next_operations), words)
        lines.append(words.say(f"short.{name}", next=next_, when=when, age=age))
        lines.append(words.say("short.not_booked"))
    elif plan.recommended is not None and plan.recommended.id == PROSTHETIC_COURSE:
        asked = plan.roads is not None and plan.roads.chosen == "prosthetic"
        lines.append(words.say("handout.short_asked" if asked else "handout.short_prosthesis"))
    else:
        lines.append(words.say("handout.short_plan_none"))
    if story.next_operations and plan.firmness.close_call:
        lines.append(_close_call(plan, words))
    if (window := _road_window(story)) is not None:
        opens, ends = (say.month_of(day, words) for day in window)
        lines.append(words.say("short.road_window", first=opens, last=ends))
    when = say.month_of(story.next_visit_on, words)
    if not story.measured:
        lines.append(words.say("short.measure_first"))
    elif story.next_visit is not None:
        lines.append(words.say("short.visit", when=when, what=words.inner(_name(story.next_visit, words))))
    else:
        lines.append(words.say("short.visit_again", when=when))
    return " ".join(lines)


def _road_window(story: FamilyStory) -> tuple[datetime.date, datetime.date] | None:
    """Return when the first operation of an artificial leg usually comes, where that time is not over yet."""
    windows = [
        (stage.window.earliest, stage.window.latest)
        for choice in story.choices
        for stage in choice.steps
        if stage.operation and stage.window is not None and stage.window.latest is not None
    ]
    coming = [(max(first, story.plan.on), last) for first, last in windows if last is not None and last > story.plan.on]
    return min(coming, default=None)


def _short_harms(story: FamilyStory, words: Wording) -> str:
    """Return the most frequent harms of the plan and what stays for good; else those of the next step."""
    frequent = [harm for harm in story.harms if harm.id != "lasting_harm"][:MAIN_HARMS]
    told = [*frequent, *(harm for harm in story.harms if harm.id == "lasting_harm")]
    if told:
        parts = tuple(
            words.say(
                "short.harm_one",
                count=about(harm.children.best, words),
                what=words.say(f"harms.of.{harm.id}"),
            )
            for harm in told
            if harm.children is not None
        )
        return words.say("short.harms", harms=say.joined(parts, words))
    return step_harms(story.next_operations, words)


def _what_it_is(story: FamilyStory, words: Wording) -> Iterator[Block]:
    """Yield what the child has, where it lies (only what was found), and what helps now."""
    yield Heading(words.say("has.title"))
    lines = [_has(story, words)]
    found = [words.say(f"found.{finding}") for finding in story.found if words.has(f"found.{finding}")]
    lines += _by_place(found, words)
    if not story.found and story.measured and not story.both:
        lines.append(words.say("has.nothing_else"))
    yield Bullets(tuple(dict.fromkeys(lines)))
    if story.aids:
        names = tuple(dict.fromkeys(words.inner(say.what_of(stage, words).rstrip(".")) for stage in story.aids))
        yield Paragraph(words.say("has.helps", aids=say.joined(names, words)))


def _by_place(found: Iterable[str], words: Wording) -> list[str]:
    """Return what was found with what lies at one place (`The hip: …`) in one line."""
    places: dict[str, list[str]] = {}
    for text in found:
        place, colon, what = text.partition(": ")
        places.setdefault(place if colon else "", []).append(say.sentence(what) if colon else text)
    return [f"{place}: {words.inner(' '.join(said))}" if place else " ".join(said) for place, said in places.items()]


def _untreated(story: FamilyStory, words: Wording) -> Iterator[Block]:
    """Yield what happens with no operation for length, with the picture of growth."""
    yield Heading(words.say("untreated.title"))
    yield from _growth(story.plan, words)
    if story.untreated is not None:
        yield Paragraph(words.say("untreated.lives"))
    yield from _with_plan(story, words)


def _with_plan(story: FamilyStory, words: Wording) -> Iterator[Block]:
    """Yield how the plan ends: how many near, and how far the few at either end."""
    course = story.plan.recommended
    if course is None or course.residual_mm is None or course.chance_within_20_mm is None or not course.stages:
        return
    low, high = say.signed(course.residual_mm.p05, words), say.signed(course.residual_mm.p95, words)
    yield Heading(words.say("untreated.with_plan"), 3)
    yield Paragraph(
        words.say("growth.plan_range", low=low, high=high, chance=about(100 * course.chance_within_20_mm, words))
    )


def _what_next(story: FamilyStory, words: Wording) -> Iterator[Block]:
    """Yield what is done next and when, the next visit, and what still has to be found out."""
    yield Heading(words.say("next.title"))
    plan, lines = story.plan, [_next(story, words)]
    if story.visits_now:
        names = tuple(dict.fromkeys(words.inner(_name(stage, words)) for stage in story.visits_now))
        lines.append(words.say("next.now", what=say.joined(names, words)))
    for stage in story.next_operations:
        lines.append(say.sentence(say.what_of(stage, words)))
    for op in plan.firmness.between if plan.firmness.close_call else ():
        if op.family_words:
            lines.append(words.of_rule("stages", say.kind_of(op.stage), op.family_words))
    if harm := step_harms(story.next_operations, words):
        lines.append(words.say("next.harm", harm=harm))
    yield Bullets(tuple(dict.fromkeys(lines)))
    if plan.open_questions:
        yield Paragraph(words.say("next.measure"))
        yield Bullets(tuple(_questions(plan, words)))


def _questions(plan: Plan, words: Wording) -> Iterator[str]:
    """Yield what still has to be measured, with the month by which it is needed where that is to come."""
    for question in plan.open_questions[:MOST_QUESTIONS]:
        finding = say.question_of(question, words)
        if question.side:
            finding = words.say("steps.sided", name=finding, side=words.say(question.side))
        if question.by is not None and question.by > plan.on:
            yield words.say("change.measure", finding=finding, when=say.month_of(question.by, words))
        else:
            yield words.say("change.measure_open", finding=finding)
    more = len(plan.open_questions) - MOST_QUESTIONS
    if more > 0:
        yield words.say("change.measure_more", count=more)


def _close_call(plan: Plan, words: Wording) -> str:
    """Return between which first steps the plan is undecided, and what decides; what both share is not in doubt."""
    part = plan.firmness
    sides = [
        {
            id: _first_name(id, label, words)
            for id, label in zip((op.stage, *op.also), (op.label, *op.also_labels), strict=True)
        }
        for op in part.between
    ]
    first, second = ({id: name for id, name in mine.items() if id not in other} for mine, other in (sides, sides[::-1]))
    if not first or not second:
        lines = [words.say("short.close_also", extra=_quoted(tuple((first or second).values()), words))]
    else:
        told = (_quoted(tuple(side.values()), words) for side in (first, second))
        equal = any(item.what != "threshold" for item in part.why)
        name = "close_equal" if equal else "close"
        lines = [words.say(f"short.{name}", **dict(zip(("first", "second"), told, strict=True)))]
    decides = part.decide_on
    if decides is None:
        lines.append(words.say("short.decides_none"))
    else:
        kind = "film" if decides.what == "film" else "test"
        lines.append(words.say(f"short.decides_{kind}", when=say.month_of(decides.on, words)))
    if part.kept:
        lines.append(words.say("short.kept"))
    return " ".join(lines)


def _first_name(id: str, label: str, words: Wording) -> str:
    """Return the name of a first operation, or that there is none."""
    return say.name_of(say.kind_of(id), words, label) if id else words.say("short.no_operation")


def _quoted(names: tuple[str, ...], words: Wording) -> str:
    return say.joined(tuple(words.say("quoted", name=name) for name in dict.fromkeys(names)), words)


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


def _road(plan: Plan, words: Wording, protocol: Protocol) -> Iterator[Block]:
    yield Heading(words.say("timeline.title"))
    if not say.steps(plan) and not say.finished(plan):
        yield Paragraph(words.say("timeline.empty"))
        return
    if roads.road_is_open(plan) and plan.child.affected_side != "both":
        yield Paragraph(words.say("timeline.open"))
    wide, narrow = timeline_drawing(plan, words, protocol), timeline_drawing(plan, words, protocol, NARROW_MM)
    yield Figure(wide, narrow, words.say("timeline.caption"))
    wide_legs, narrow_legs = legs_drawing(plan, words), legs_drawing(plan, words, NARROW_MM)
    if wide_legs is not None and narrow_legs is not None:
        yield Heading(words.say("legs.title"), 3)
        yield Figure(wide_legs, narrow_legs, words.say("legs.caption" if plan.growth.by_age else "legs.caption_gap"))


def _growth(plan: Plan, words: Wording) -> Iterator[Block]:
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


def _steps(story: FamilyStory, words: Wording, protocol: Protocol) -> Iterator[Block]:
    plan = story.plan
    yield Heading(words.say("steps.title"))
    yield Paragraph(words.say("steps.intro"))
    numbers = source_numbers(plan)
    said: dict[str, int] = {}
    for step in story.steps:
        yield _card(plan, step, words, protocol, numbers, said)
    for status, name in (("optional", "maybe"), ("blocked", "blocked")):
        loose = [stage for stage in roads.other_stages(plan) if stage.date is None and stage.status == status]
        if loose and story.measured:
            yield Heading(words.say(f"steps.{name}_title"), 3, whole=len(loose) <= FEW_STEPS)
            yield Paragraph(words.say(f"steps.{name}"))
            told = sorted(loose, key=lambda stage: not stage.likely)[:MOST_LOOSE] if status == "optional" else loose
            feet = tuple(_cited((stage,), words, numbers) for stage in told)
            yield Bullets(tuple(_loose(stage, words, sided=story.both) for stage in told), feet=feet)
            if len(told) < len(loose):
                yield Paragraph(words.say("steps.maybe_more", count=len(loose) - len(told)), "small")


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
        if name != "nail" and any(say.by_nail(stage) for stage in step.stages):
            facts.append((words.say("steps.with_nail"), words.say("care.nail.home")))
    if harm := step_harms(step.stages, words):
        if harm in told:
            facts.append((words.say("steps.harm"), words.say("steps.harm_again", step=told[harm])))
        else:
            told[harm] = step.number
            facts.append((words.say("steps.harm"), harm))
    foot = _cited(step.stages, words, numbers)
    return Card(words.number(step.number), _name(first, words), _when(plan, step, words), tuple(facts), foot, first.id)


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
        latest = may_wait_until(stage)
        if stage.operation and stage.date and latest is not None and moves_others(stage):
            if age_years(plan.child.date_of_birth, latest) > plan.growth.mature_age_years:
                continue  # nothing that grows hangs on it
            told = {"step": _name(stage, words), "when": say.month_of(latest, words)}
            if sum(other.kind == stage.kind for other in plan.stages) > 1:
                text = words.say("change.late_again", planned=say.month_of(stage.date, words), **told)
            else:
                text = words.say("change.late", **told)
            bound.append((stage.date, text))
    if bound:
        said = tuple(text for _, text in sorted(bound)[:MOST_LATE])
        yield words.say("change.delay", steps=say.joined(said, words, "or"))


def _answers(story: FamilyStory, words: Wording) -> Iterator[Block]:
    """Yield short answers to what parents ask, then the questions that only the own team can answer."""
    yield Heading(words.say("answers.title"))
    yield Paragraph(words.say("answers.intro"), "small")
    yield Facts(
        tuple((words.say(f"answers.{name}.question"), words.say(f"answers.{name}.answer")) for name in story.answers)
    )
    yield Heading(words.say("questions.title"), whole=True)
    yield Bullets(words.items("questions.items"), columns=2)
    yield Lines(words.say("questions.phone"), 1)
    yield Lines(words.say("questions.room"), 4)


def sources_of(stage: PlanStage) -> tuple[str, ...]:
    """Return the ids of the sources behind a stage and the reasons for it, each once."""
    return tuple(dict.fromkeys([*stage.sources, *(id for reason in stage.because for id in reason.sources)]))


def source_numbers(plan: Plan) -> dict[str, int]:
    """Return the number of each source that the document cites, in the order of the plan."""
    shown = [stage for step in say.steps(plan) for stage in step.stages]
    shown += [stage for stage in plan.stages if stage.date is None and plan.growth.measured]
    cited = {id for stage in shown for id in sources_of(stage)}
    return {line.id: n for n, line in enumerate((line for line in plan.sources if line.id in cited), start=1)}


def _facts(plan: Plan, words: Wording) -> Iterator[Block]:
    yield Heading(words.say("facts.title"))
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
