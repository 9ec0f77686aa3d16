"""The family's story: benefit and harm side by side, every real choice in the same fields, nothing of another child."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest

from pathway.courses.course import PROSTHETIC_COURSE
from pathway.plan.model import Plan
from pathway.views.documents.document import Card, Table
from pathway.views.documents.handout import handout
from pathway.views.family.choices import FIELDS
from pathway.views.family.story import story_of
from pathway.views.words.harms import harm_lines, with_harms
from pathway.views.words.plan import plan_text
from pathway.views.words.roads import prosthetic_stages
from pathway.views.words.wording import wording
from tests.family import family_text
from tests.plans import files, plan, rules
from tests.views.documents.made import family, family_pdf, team, words_of

LEAST_FILLED = 0.25
"""No page but the last is emptier than this share of its height."""


def squeezed(text: str) -> str:
    return re.sub(r"\s+", "", text)


def choice_cards(name: str) -> list[Card]:
    return [block for block in family(name).blocks if isinstance(block, Card) and not block.stage]


@pytest.mark.parametrize("child", files())
class TestEveryChildsStory:
    def test_every_choice_is_told_in_the_same_fields(self, child) -> None:
        wanted = [wording().say(f"choice_fields.{name}") for name in FIELDS]
        cards = choice_cards(child)
        assert len(cards) == len(story_of(plan(child), rules()).choices)
        for card in cards:
            assert [label for label, _ in card.facts] == wanted
            assert all(text for _, text in card.facts)

    def test_no_two_choices_have_one_name(self, child) -> None:
        titles = [card.title for card in choice_cards(child)]
        assert len(set(titles)) == len(titles)

    def test_an_artificial_leg_is_a_choice_where_the_rules_offer_it_and_nowhere_else(self, child) -> None:
        courses = {course.id for course in plan(child).alternatives}
        offered = bool(prosthetic_stages(plan(child))) or PROSTHETIC_COURSE in courses
        if plan(child).alternatives:
            assert any(choice.kind == "artificial" for choice in story_of(plan(child), rules()).choices) == offered
        if not offered and choice_cards(child):
            assert "artificial leg" not in " ".join(card.title for card in choice_cards(child)).lower()

    def test_every_harm_of_a_step_stands_wherever_the_step_is_recommended(self, child) -> None:
        shown = (words_of(family(child)), family_text(plan(child)))
        team_shows = (words_of(team(child)), plan_text(plan(child)))
        for stage in with_harms(plan(child)):
            for harm in stage.harms:
                for text in shown:
                    assert squeezed(harm.family_words.rstrip(".")) in squeezed(text), (stage.id, harm.id)
                for text in team_shows:
                    assert squeezed(harm.label) in squeezed(text), (stage.id, harm.id)

    def test_benefit_and_harm_are_counted_in_the_same_hundred(self, child) -> None:
        course = plan(child).recommended
        title = wording().say("harms.title")
        tables = [block for block in family(child).blocks if isinstance(block, Table) and block.name == title]
        if course is None or course.expected is None or course.expected.operations.p95 < 1:
            assert not tables
            return
        (table,) = tables
        rows = {row[0]: row[1:] for row in table.rows}
        assert rows[wording().say("harms.within_2")][0] == f"{100 * course.expected.chance_within_20_mm:.0f}"
        for harm in course.expected.harms:
            name = wording().say(f"harms.of.{harm.id}")
            if harm.children is None:  # too few series counted it: seen, and no number is told
                assert name[:1].upper() + name[1:] not in rows
                assert name in words_of(family(child))
                continue
            often, between = rows[name[:1].upper() + name[1:]]
            assert often == (f"{harm.children.best:.0f}" if harm.children.best > 0.5 else "fewer than 1")
            assert between == f"{harm.children.low:.0f} to {harm.children.high:.0f}"
            assert harm.children.high <= 100

    def test_no_step_is_named_that_is_not_in_the_plan(self, child) -> None:
        words = wording()
        told = squeezed(words_of(family(child)))
        own = {stage.kind for stage in plan(child).stages} | {item.stage for item in plan(child).refused}
        calls = [(op.stage, *op.also) for op in plan(child).firmness.between]
        own |= {stage.rstrip("_0123456789") for call in calls for stage in call}
        names = {words.say(f"stages.{kind}.name") for kind in own if words.has(f"stages.{kind}.name")}
        for key, name in words.texts.items():
            if re.fullmatch(r"stages\.\w+\.name", key) and isinstance(name, str) and name not in names:
                quoted = squeezed(f"“{name}”")
                assert quoted not in told, name

    def test_what_was_found_is_told_and_nothing_else(self, child) -> None:
        words = wording()
        found = {f"found.{finding}" for finding in story_of(plan(child), rules()).found}
        same = {words.say(key).partition(": ")[2] for key in found if words.has(key)}
        told = squeezed(words_of(family(child))).lower()
        for key, text in words.texts.items():
            if key.startswith("found.") and isinstance(text, str):
                what = squeezed(text.partition(": ")[2] or text).lower()
                # What is said of one place may be said of another one too.
                assert (what in told) == (key in found or text.partition(": ")[2] in same), key

    def test_no_page_is_three_quarters_empty(self, child, tmp_path: Path) -> None:
        file = tmp_path / "made.pdf"
        file.write_bytes(family_pdf(child))
        boxes = subprocess.run(["pdftotext", "-bbox", file, "-"], check=True, capture_output=True, text=True).stdout
        for page in boxes.split("<page ")[1:-1]:
            height = float(re.search(r'height="([\d.]+)"', page)[1])  # type: ignore[index]
            lowest = max(float(y) for y in re.findall(r'yMax="([\d.]+)"', page) if float(y) < 0.92 * height)
            assert lowest / height > LEAST_FILLED


def test_a_shallow_socket_is_said_of_the_child_who_has_one() -> None:
    """rowan-02: centre-edge angle 12 deg, neck-shaft angle 78 deg; oak-12 has neither."""
    assert "the socket is shallow" in words_of(family("rowan-02"))
    assert "Its top is bent inward" in words_of(family("rowan-02"))
    assert "the socket is shallow" not in words_of(family("oak-12"))


def test_a_child_whose_legs_were_never_measured_is_told_what_to_measure_and_no_list_of_operations() -> None:
    told = words_of(family("elm-01"))
    assert "Both legs must be measured first." in told
    assert "Steps that may come" not in told


def test_a_prosthesis_is_not_mentioned_for_a_small_difference() -> None:
    """oak-12 ends 4.8 cm apart: no artificial leg is among the choices."""
    assert not any("artificial" in card.title.lower() for card in choice_cards("oak-12"))


def test_a_harm_that_is_left_out_would_be_found() -> None:
    """The check above can fail: a plan whose steps have no harms tells none."""
    made = plan("rowan-02")
    bare = made.model_copy(update={"stages": tuple(s.model_copy(update={"harms": ()}) for s in made.stages)})
    assert squeezed(_harm(made)) not in squeezed(words_of(handout(bare, wording(), rules())))
    assert not tuple(harm_lines(bare))


def _harm(made: Plan) -> str:
    return next(
        h.family_words.rstrip(".") for s in made.stages for h in s.harms if h.id == "stage_harm.lengthening.axis"
    )
