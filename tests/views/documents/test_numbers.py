"""Every number that leaves the program is the plan's: nothing is worked out anew, nothing invented."""

from __future__ import annotations

import datetime
import html as markup
import json
import re
from typing import Any

import pytest

from pathway.views.documents.document import Card
from pathway.views.documents.handout import handout
from pathway.views.drawings.growth import growth_drawing
from pathway.views.family.choices import fields
from pathway.views.family.story import story_of
from pathway.views.words.family_terms import cm, signed
from pathway.views.words.roads import is_the_road
from pathway.views.words.wording import wording
from tests.examples import NAMES
from tests.family import family_parts
from tests.plans import plan, rules
from tests.views.documents.made import (
    family,
    family_html,
    family_pdf,
    run,
    squeezed,
    team,
    team_html,
    team_markdown,
    team_pdf,
    texts,
    words_of,
)

NUMBER = re.compile(r"\d{4}-\d\d-\d\d|\d+(?:\.\d+)?")


def said(value: object, key: str = "") -> set[str]:
    """Every way in which the documents may write a value of the plan."""
    if isinstance(value, dict):
        # The mean of a length is a length.
        own = {name: key if name == "mean" and key.endswith("_mm") else name for name in value}
        return set().union(*(said(item, own[name]) for name, item in value.items()), set())
    if isinstance(value, list):
        return set().union(*(said(item, key) for item in value), {str(len(value))})
    if isinstance(value, bool) or value is None:
        return set()
    if isinstance(value, str):
        found = set(NUMBER.findall(value))
        if re.fullmatch(r"\d{4}-\d\d-\d\d", value):
            found |= {value[:4]}
        return found
    number = abs(float(value))  # type: ignore[arg-type]
    ways = {f"{number:g}", f"{number:.0f}"}
    if key.endswith("_mm") or key in ("p05", "p25", "p50", "p75", "p95"):
        ways |= {f"{number / 10:.1f}", f"{number / 10:.0f}"}
    if key.startswith("chance") or key == "share":
        ways |= {f"{100 * number:.0f}"}
    if key == "age_years" or key == "mature_age_years":
        months = round(number * 12)
        ways |= {str(int(number + 1e-3)), str(months // 12), str(months % 12)}
    return ways


def plan_numbers(name: str) -> set[str]:
    made: Any = json.loads(plan(name).model_dump_json())
    found = said(made) | said(made["protocol"]["version"])
    for course in made["alternatives"]:
        planned = sum("lengthening" in stage["kind"] for stage in course["stages"])
        other = sum(n["share"] for n in course["lengthenings_needed"] if n["lengthenings"] != planned)
        found |= {f"{100 * other:.0f}"}
    for stage in plan(name).stages:
        if stage.date and stage.free_slack_days is not None:
            found |= {str((stage.date + datetime.timedelta(stage.free_slack_days)).year)}
    for stage in plan(name).stages:
        found |= {str(sum(gate.state in ("fails", "unknown") for gate in stage.gates))}
    return found


def worded() -> set[str]:
    """The numbers that stand in the words themselves."""
    fixed = (text for text in wording().texts.values())
    return {n for text in fixed for line in ([text] if isinstance(text, str) else text) for n in NUMBER.findall(line)}


@pytest.mark.parametrize("name", NAMES)
def test_every_number_in_the_documents_is_a_number_of_the_plan(name: str) -> None:
    known = plan_numbers(name) | worded()
    for document in (family(name), team(name)):
        for block in document.blocks:
            lines = [*texts(block)]
            if isinstance(block, Card):
                lines = [block.when, *(text for _, text in block.facts)]
            for line in (re.sub(r"Facts: [\d, ]+", "", line) for line in lines):
                assert [n for n in NUMBER.findall(line) if n not in known] == [], line


@pytest.mark.parametrize("name", NAMES)
def test_html_pdf_and_markdown_hold_the_same_words_as_the_document(name: str, tmp_path) -> None:
    for document, page, made in (
        (family(name), family_html(name), family_pdf(name)),
        (team(name), team_html(name), team_pdf(name)),
    ):
        (tmp_path / "made.pdf").write_bytes(made)
        printed = squeezed(run("pdftotext", "-raw", tmp_path / "made.pdf", "-"))
        shown = squeezed(markup.unescape(re.sub(r"<[^>]+>", "", page)))
        for block in document.blocks:
            for text in texts(block):
                assert squeezed(text) in shown
                for number in NUMBER.findall(text):
                    assert squeezed(number) in printed
    told = squeezed(re.sub(r"\\(.)", r"\1", team_markdown(name)))
    assert [t for block in team(name).blocks for t in texts(block) if squeezed(t) not in told] == []


@pytest.mark.parametrize("name", NAMES)
def test_each_step_of_the_family_has_the_months_ages_and_amounts_of_the_plan(name: str) -> None:
    words, cards = wording(), [block for block in family(name).blocks if isinstance(block, Card) and block.stage]
    ahead = [stage for stage in plan(name).stages if stage.date is not None and stage.status != "done"]
    around = {stage.family_words for stage in ahead if stage.goes_with}
    ahead = [stage for stage in ahead if not stage.goes_with]
    assert len(cards) == len({stage.kind for stage in ahead})
    told = " ".join(text for card in cards for _, text in card.facts)
    assert all(text in told for text in around)
    for stage in ahead:
        card = next(c for c in cards if c.title == words.say(f"stages.{stage.kind}.name"))
        facts = dict(card.facts)
        if not (stage.status == "ready" and stage.date == plan(name).on):
            assert f"{stage.date:%B %Y}" in card.when
            assert f"age {int(stage.age_years + 1e-3)}" in card.when
        if stage.amount_mm is not None:
            assert cm(stage.amount_mm, wording()) in facts["How much"]
        if stage.duration_months and stage is next(s for s in ahead if s.kind == stage.kind):
            wanted = "one" if round(stage.duration_months) == 1 else f"{stage.duration_months:.0f}"
            assert f" {wanted} month" in facts["How long"]


@pytest.mark.parametrize("name", NAMES)
def test_the_choices_are_the_courses_of_the_plan(name: str) -> None:
    """Burden, chance and harm of a card are those of one course, in one world."""
    words = wording()
    for choice in story_of(plan(name), rules()).choices:
        told, course = dict(fields(story_of(plan(name), rules()), choice, words)), choice.course
        if course is None or course.expected is None or course.residual_mm is None or choice.kind == "nothing":
            continue
        assert course in plan(name).alternatives
        assert signed(course.residual_mm.p50, words) in told["At the end"]
        chance = 100 * course.expected.chance_within_20_mm
        near = "fewer than 1" if chance <= 0.5 else f"about {chance:.0f}"
        assert f"In {near} of 100" in told["At the end"]
        if round(course.expected.operations.p95):
            many = round(course.expected.operations.mean)
            assert f"bout {many} " in told["Operations"] or (many == 1 and "bout one operation " in told["Operations"])
        for harm in course.expected.harms:
            if harm.children is not None and harm.children.best > 0.5:
                assert f": about {harm.children.best:.0f} (" in told["What can go wrong"]


@pytest.mark.parametrize("name", NAMES)
def test_every_stage_and_day_of_the_plan_stands_in_the_summary(name: str) -> None:
    words = words_of(team(name))
    for stage in plan(name).stages:
        assert is_the_road(stage) or stage.label in words
        if stage.date is not None:
            assert str(stage.date) in words
        if stage.amount_mm is not None:
            assert cm(stage.amount_mm, wording()) in words


def test_the_end_of_the_growth_picture_is_the_projection_at_maturity() -> None:
    drawn = growth_drawing(plan("rowan-02"), wording())
    at = plan("rowan-02").growth.at_maturity
    assert drawn is not None
    assert at is not None
    assert signed(at.discrepancy_mm.p50, wording()) in drawn.texts


@pytest.mark.parametrize("name", NAMES)
def test_the_curve_ends_at_what_the_plan_says_of_maturity(name: str) -> None:
    growth = plan(name).growth
    if growth.at_maturity is not None:
        assert growth.by_age[-1].discrepancy_mm == growth.at_maturity.discrepancy_mm


@pytest.mark.parametrize("name", NAMES)
def test_the_height_that_growth_arrest_costs_is_the_same_on_paper_and_in_the_meeting(name: str) -> None:
    less = re.compile(r"(\d+\.\d cm) shorter as an adult")
    spoken = " ".join(line for part in family_parts(plan(name)) for line in part.sentences)
    assert less.findall(words_of(family(name))) == less.findall(spoken)


def test_one_visit_is_told_as_one() -> None:
    growth = plan("rowan-02").growth
    once = plan("rowan-02").model_copy(update={"growth": growth.model_copy(update={"measured": growth.measured[-1:]})})
    told = words_of(handout(once, wording(), rules()))
    assert "come from one visit where both legs were measured, in November 2026" in told
    assert "one visits" not in told


def test_another_amount_gives_another_document() -> None:
    """The check above can fail: a plan with one amount changed is told apart."""
    made, known = plan("rowan-02"), plan_numbers("rowan-02")
    strange = next(mm for mm in range(10, 300) if f"{mm / 10:.1f}" not in known)
    first = "femoral_lengthening_1"
    stages = tuple(s.model_copy(update={"amount_mm": float(strange)}) if s.id == first else s for s in made.stages)
    changed = handout(made.model_copy(update={"stages": stages}), wording(), rules())
    assert cm(strange, wording()) in words_of(changed)
    assert cm(strange, wording()) not in words_of(family("rowan-02"))
