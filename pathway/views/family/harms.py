"""What can go wrong: in 100 children on the whole plan, beside what is gained, and at each step."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from pathway.plan.model import Expected, PlanStage, StageHarm
from pathway.views.documents.document import Block, Figure, Heading, Paragraph, Table
from pathway.views.drawings.growth import NARROW_MM
from pathway.views.drawings.icons import IconRow, icon_array
from pathway.views.family.story import FamilyStory
from pathway.views.words import family_terms as say
from pathway.views.words.wording import Wording

FEW = 0.5
"""So many of 100, which are rounded to none, and fewer are told as fewer than 1."""


def range_words(per_100: float, low: float | None, high: float | None, words: Wording) -> str:
    """Return how many of 100, best guess with its range: `13 (3 to 46)`."""
    often = about(per_100, words)
    if low is None or high is None:
        return often
    return words.say("harms.range", often=often, low=round(low), high=round(high))


def what_can_go_wrong(story: FamilyStory, words: Wording) -> Iterator[Block]:
    """Yield benefit and harm of the plan in one table of the same 100 children, or why it cannot be given."""
    yield Heading(words.say("harms.title"))
    course = story.plan.recommended
    expected = None if course is None else course.expected
    if expected is None or not (story.harms or expected.operations.p95 >= 1):
        yield Paragraph(words.say("harms.no_table"))
        return
    yield Paragraph(words.say("harms.intro"))
    rows = [
        (words.say("harms.within_2"), count_words(100 * expected.chance_within_20_mm, words), ""),
        (words.say("harms.within_1"), count_words(100 * expected.chance_within_10_mm, words), ""),
    ]
    for one in story.harms:
        if one.children is not None:
            low, high = round(one.children.low), round(one.children.high)
            name = say.sentence(words.say(f"harms.of.{one.id}"))
            rows.append((name, count_words(one.children.best, words), words.say("harms.between", low=low, high=high)))
    icons = _icons(story, words)
    yield Figure(icon_array(icons, words), icon_array(icons, words, NARROW_MM), "")
    head = tuple(words.say(f"harms.{name}") for name in ("what", "often", "teams"))
    yield Table(words.say("harms.title"), head, tuple(rows), (50, 16, 34), 1)
    if unknown := not_told(expected, words):
        yield Paragraph(unknown)
    yield Paragraph(words.say("harms.note"), "small")


def _icons(story: FamilyStory, words: Wording) -> tuple[IconRow, ...]:
    """Return gain and harms of the plan, each of the same hundred children."""
    course = story.plan.recommended
    expected = None if course is None else course.expected
    if expected is None:
        return ()
    gains = (("within_2", expected.chance_within_20_mm), ("within_1", expected.chance_within_10_mm))
    rows = [IconRow(words.say(f"harms.{name}_short"), 100 * chance, None, None, harm=False) for name, chance in gains]
    rows += [
        IconRow(words.say(f"harms.of.{one.id}"), one.children.best, one.children.low, one.children.high, harm=True)
        for one in story.harms
        if one.children is not None
    ]
    return tuple(rows)


def not_told(expected: Expected, words: Wording) -> str:
    """Return what was seen and how often is not known, in one sentence; "" where there is nothing of the kind."""
    names = tuple(words.say(f"harms.of.{one.id}") for one in expected.harms if one.children is None)
    return words.say("harms.seen_too", what=say.joined(names, words)) if names else ""


def about(per_100: float, words: Wording) -> str:
    """Return the same within a sentence: `about 85`."""
    return words.say("harms.few") if per_100 <= FEW else words.say("harms.about", count=words.number(per_100))


def count_words(per_100: float, words: Wording) -> str:
    """Return how many of 100 in whole numbers."""
    return words.say("harms.few") if per_100 <= FEW else words.number(per_100)


def step_harms(stages: Sequence[PlanStage], words: Wording) -> str:
    """Return what can go wrong at a step, with how often it was counted; "" where the rules name nothing."""
    told: dict[str, StageHarm] = {}
    for stage in stages:
        for harm in stage.harms:
            known = told.get(harm.id)
            # Of steps of one kind the one with a number is told, and of two numbers the higher.
            if known is None or (harm.per_100 or -1.0) > (known.per_100 or -1.0):
                told[harm.id] = harm
    counted = [harm for harm in told.values() if harm.per_100 is not None]
    others = [harm for harm in told.values() if harm.per_100 is None]
    said = [_said(harm, words) for harm in sorted(counted, key=lambda harm: -(harm.per_100 or 0.0))]
    if others:
        said += [words.say("harms.seen"), *(plain(harm, words) for harm in others)]
    return " ".join(said)


def plain(harm: StageHarm, words: Wording) -> str:
    """Return what may go wrong, in the words of the language."""
    return words.of_rule("stage_harms", harm.id, harm.family_words)


def _said(harm: StageHarm, words: Wording) -> str:
    often = range_words(harm.per_100 or 0.0, harm.low, harm.high, words)
    return words.say("harms.step", what=plain(harm, words).rstrip("."), often=often)
