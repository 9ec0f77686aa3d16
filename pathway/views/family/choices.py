"""The real choices side by side, each told in the same fields."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from pathway.plan.model import Plan, PlanStage, Spread
from pathway.protocol.model import Bone
from pathway.views.documents.document import Block, Bullets, Card, Heading, Paragraph, Table
from pathway.views.family.harms import about, count_words, not_told, plain, range_words
from pathway.views.family.story import Choice, FamilyStory, told_harms
from pathway.views.words import family_roads, roads
from pathway.views.words import family_terms as say
from pathway.views.words.wording import Wording

LEAST_HEIGHT_MM = 1
"""Less adult height lost than this is not told."""
LENGTHENED: Mapping[Bone, str] = {"femur": "choices.lengthen_femur", "tibia": "choices.lengthen_tibia"}
FIELDS = ("when", "operations", "device", "hospital", "pain", "school", "way", "end", "walking", "harms", "later")
"""What is told of every choice, in this order."""


def choices(story: FamilyStory, words: Wording, feet: Mapping[str, str]) -> Iterator[Block]:
    """Yield every real choice as a card with the same fields; `feet` name the sources of the steps of a road."""
    if not story.choices:
        return
    yield Heading(words.say("choices.title"))
    yield Paragraph(words.say("choices.intro_open" if none_chosen(story) else "choices.intro"))
    if story.shared:
        names = _inner_names(story.shared, words)
        yield Paragraph(words.say("choices.shared", steps=say.joined(names, words)))
    if story.of_longer_leg:
        names = _inner_names(story.of_longer_leg, words)
        yield Paragraph(words.say("choices.of_longer_leg", steps=say.joined(names, words)))
    for number, choice in enumerate(story.choices):
        yield Card(letter_of(number), title(story, choice, words), "", tuple(fields(story, choice, words)))
        if choice.steps:
            told = tuple(family_roads.artificial_steps(story.plan, words))
            yield Paragraph(words.say("roads.artificial_steps"))
            yield Bullets(tuple(text for _, text in told), feet=tuple(feet.get(stage.id, "") for stage, _ in told))
    yield Paragraph(words.say("choices.note"), "small")


def letter_of(number: int) -> str:
    """Return the letter of a choice, counted from 0."""
    return chr(ord("A") + number)


def table(story: FamilyStory, words: Wording) -> Table:
    """Return the choices in one table, each with what it takes and where it ends; the cards tell the rest."""
    head = tuple(
        words.say(f"choices.head_{name}") for name in ("choice", "operations", "device", "end", "near", "harm")
    )
    rows = tuple(_row(story, number, choice, words) for number, choice in enumerate(story.choices))
    return Table(words.say("choices.title"), head, rows, (46, 15, 14, 17, 13, 13), 1)


def _row(story: FamilyStory, number: int, choice: Choice, words: Wording) -> tuple[str, ...]:
    name = words.say("choices.lettered", letter=letter_of(number), choice=title(story, choice, words))
    course, none = choice.course, words.say("choices.no_number")
    told, left = (None, None) if course is None else (course.expected, course.residual_mm)
    if choice.kind == "artificial":
        return name, none, words.say("choices.zero"), words.say("choices.evened_out"), none, none
    if choice.kind == "nothing" or told is None or left is None:
        end = none if story.untreated is None else say.signed(story.untreated.p50, words)
        zero = words.say("choices.zero") if choice.kind == "nothing" else none
        near = none if told is None else count_words(100 * told.chance_within_20_mm, words)
        return name, zero, zero, end, near, none
    harm = next((one.children for one in told.harms if one.id == "lasting_harm"), None)
    return (
        name,
        _count(told.operations, words),
        _count(told.device_months, words),
        say.signed(left.p50, words),
        count_words(100 * told.chance_within_20_mm, words),
        none if harm is None else count_words(harm.best, words),
    )


def fields(story: FamilyStory, choice: Choice, words: Wording) -> Iterator[tuple[str, str]]:
    """Yield label and text of every field of one choice."""
    texts = {
        "when": _when(story, choice, words),
        "operations": _operations(choice, words),
        "device": _device(story, choice, words),
        "hospital": words.say(f"choice_kinds.{choice.kind}.hospital"),
        "pain": words.say(f"choice_kinds.{choice.kind}.pain"),
        "school": words.say(f"choice_kinds.{choice.kind}.school"),
        "way": _way(choice, words),
        "end": _end(story, choice, words),
        "walking": words.say(f"choice_kinds.{choice.kind}.walking"),
        "harms": _harms(choice, words),
        "later": words.say(f"choice_kinds.{choice.kind}.later"),
    }
    for name in FIELDS:
        yield words.say(f"choice_fields.{name}"), texts[name]


def title(story: FamilyStory, choice: Choice, words: Wording) -> str:
    """Return the name of a choice, marked where it is the plan, or outside the rules."""
    name = choice_name(choice, words)
    if choice.ours:
        return say.sentence(words.say(_first(story.plan, choice), choice=words.inner(name)))
    return name if choice.within_rules else words.say("choices.outside", choice=name)


def choice_name(choice: Choice, words: Wording) -> str:
    """Return what a choice does, in the family's words."""
    if choice.kind == "artificial":
        names = _inner_names((stage for stage in choice.steps if stage.operation), words)
        steps = say.joined(names, words) if names else ""
        return words.say("choices.prosthetic_with", steps=steps) if names else words.say("choices.prosthetic")
    if not choice.does:
        return words.say("choices.none")
    if choice.kind == "arrest":
        return words.say("choices.arrest_only")
    parts = []
    for done in choice.does:
        if done.what == "arrest":
            parts.append(words.say("choices.arrest"))
        else:
            parts.append(words.say(LENGTHENED[done.what], count=_times(done.count, words)))
    return say.sentence(say.joined(tuple(parts), words))


def none_chosen(story: FamilyStory) -> bool:
    """Return whether the first choice is only drawn: no road is chosen, or an artificial leg only comes first."""
    first = story.choices[0] if story.choices else None
    return first is None or not first.ours or _first(story.plan, first) != "choices.this_plan"


def _first(plan: Plan, choice: Choice) -> str:
    """Return how the first choice is named: never a plan for an artificial leg that nobody asked for."""
    if roads.road_is_open(plan):
        return "choices.shown_here"
    asked = plan.roads is not None and plan.roads.chosen == "prosthetic"
    return "choices.talked_first" if choice.kind == "artificial" and not asked else "choices.this_plan"


def _inner_names(stages: Iterable[PlanStage], words: Wording) -> tuple[str, ...]:
    """Return the names of stages as they stand within a sentence, each once."""
    return tuple(dict.fromkeys(words.inner(say.name_of(stage.kind, words, stage.label)) for stage in stages))


def _times(count: int, words: Wording) -> str:
    if count <= 2:
        return words.say("choices.once" if count == 1 else "choices.twice")
    return words.say("choices.times", count=say.many(count, words))


def _count(of: Spread, words: Wording) -> str:
    """Return a count as its mean and, where it is one, its range, in whole numbers."""
    low, mean, high = round(of.p05), round(of.mean), round(of.p95)
    return words.number(mean) if low == high else words.say("choices.count", mean=mean, low=low, high=high)


def _when(story: FamilyStory, choice: Choice, words: Wording) -> str:
    """Return at which ages what is done, as far as it can be said today."""
    if choice.kind == "artificial":
        return words.say("choices.when_artificial")
    stages = choice.course.stages if choice.course is not None else ()
    if not stages:
        return words.say("choices.when_nothing")
    told = []
    for stage in stages:
        name = "when_arrest" if stage.physes else "when_longer"
        age = say.age_of(stage.age_years, words)
        told.append(words.say(f"choices.{name}", amount=say.cm(stage.amount_mm or 0.0, words), age=age))
    return words.say("choices.when", steps=say.joined(tuple(told), words))


def _operations(choice: Choice, words: Wording) -> str:
    if choice.kind == "artificial":
        names = _inner_names((stage for stage in choice.steps if stage.operation), words)
        if not names:
            return words.say("choices.operations_asked")
        return words.say("choices.operations_of_road", steps=say.joined(names, words))
    told = None if choice.course is None else choice.course.expected
    if told is None:
        return words.say("choices.no_operations" if choice.kind == "nothing" else "choices.not_worked_out")
    if round(told.operations.p95) == 0:
        return words.say("choices.no_operations")
    added = round(told.unplanned_operations.mean)
    count = _count(told.operations, words)
    text = words.say("choices.operation") if count == "1" else words.say("choices.operations", count=count)
    return f"{text} {words.say('choices.added', count=added)}" if added else text


def _device(story: FamilyStory, choice: Choice, words: Wording) -> str:
    if choice.kind == "artificial":
        return words.say("choices.no_device")
    told = None if choice.course is None else choice.course.expected
    if told is None or round(told.device_months.p95) == 0:
        return words.say("choices.no_device")
    stays = {s.device.stays for s in story.plan.stages if s.device is not None and not s.begun}
    name = "device_nail" if choice.ours and stays == {True} else "device"
    return words.say(f"choices.{name}", count=_count(told.device_months, words))


def _way(choice: Choice, words: Wording) -> str:
    if choice.kind == "artificial":
        return words.say("choices.way_artificial")
    told = None if choice.course is None else choice.course.expected
    if told is None or choice.kind == "nothing":
        return words.say("choices.way_nothing")
    text = words.say("choices.way", peak=say.cm(told.peak_difference_mm, words))
    months = round(told.months_over_50_mm)
    return f"{text} {words.say('choices.way_months', months=months)}" if months else text


def _end(story: FamilyStory, choice: Choice, words: Wording) -> str:
    if choice.kind == "artificial":
        return words.say("choices.end_artificial")
    course = choice.course
    if choice.kind == "nothing" or course is None or course.expected is None or course.residual_mm is None:
        spread = story.untreated
        if spread is None:
            return words.say("choices.not_worked_out")
        low, high = say.signed(spread.p05, words), say.signed(spread.p95, words)
        return words.say("choices.end_range", middle=say.signed(spread.p50, words), low=low, high=high)
    left = course.residual_mm
    text = words.say(
        "choices.end_range",
        middle=say.signed(left.p50, words),
        low=say.signed(left.p05, words),
        high=say.signed(left.p95, words),
    )
    near = words.say("choices.end_chance", chance=about(100 * course.expected.chance_within_20_mm, words))
    lost = course.expected.adult_height_lost_mm
    if lost is not None and lost.mean >= LEAST_HEIGHT_MM:
        near += " " + words.say("choices.height", amount=say.cm(lost.mean, words))
    return f"{text} {near}"


def _harms(choice: Choice, words: Wording) -> str:
    expected = None if choice.course is None else choice.course.expected
    parts = tuple(
        words.say(
            "harms.one",
            what=words.say(f"harms.of.{one.id}"),
            often=range_words(one.children.best, one.children.low, one.children.high, words),
        )
        for one in told_harms(() if expected is None else expected.harms)
        if one.children is not None
    )
    if parts and expected is not None:
        told = words.say("harms.in_100", harms=say.joined(parts, words))
        return " ".join(text for text in (told, not_told(expected, words)) if text)
    if choice.kind == "artificial":
        known = dict.fromkeys(plain(harm, words) for stage in choice.steps for harm in stage.harms)
        return " ".join((*known, words.say("harms.not_counted"))) if known else words.say("harms.not_counted")
    return words.say(f"choice_kinds.{choice.kind}.harms")
