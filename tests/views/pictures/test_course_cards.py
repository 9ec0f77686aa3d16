"""Cards of courses: two worlds under two heads, words in place of signs, close calls and what is ruled out."""

from __future__ import annotations

import re

import pytest

from pathway.views.pictures.course_cards import cards, cards_that_fit, facts
from pathway.views.pictures.picture import Picture
from tests.plans import files, plan

WIDTHS = (78, 118, 198)


def rows(picture: Picture) -> list[str]:
    lines = [[" "] * picture.width for _ in range(picture.height)]
    for span in picture.spans:
        lines[span.row][span.column : span.column + len(span.text)] = span.text
    return ["".join(line).rstrip() for line in lines]


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("child", files())
def test_no_fact_name_or_ruling_out_is_cut(child, width) -> None:
    made = plan(child)
    for course in made.alternatives:
        text = " ".join(" ".join(rows(cards(made, [course], width))).split())
        shown = set(rows(cards(made, [course], width)))
        assert shown
        for word in (*course.summary.split(), *course.rules_out.split()):
            assert word in text
        if course.residual_mm is not None:
            assert all(fact in text for _, fact in facts(made, course))


@pytest.mark.parametrize("child", files())
def test_no_fact_has_a_sign_for_longer_or_shorter(child) -> None:
    for course in plan(child).alternatives:
        for label, fact in facts(plan(child), course):
            assert not re.search(r"(?<![\d(])[-+]\d", fact), (label, fact)


def test_the_path_stands_under_its_own_head_and_above_what_usually_happens() -> None:
    made = plan("rowan-02")
    lines = rows(cards(made, made.alternatives, 118))
    heads = {
        head: at
        for at, line in enumerate(lines)
        for head in ("If every step works", "What usually happens")
        if line.startswith(head)
    }
    path, usual = heads["If every step works"], heads["What usually happens"]
    assert lines[path + 1].startswith("Amounts, cm")
    assert usual == path + 4
    assert all(
        lines[at].startswith(label) for at, (label, _) in enumerate(facts(made, made.alternatives[0]), usual + 1)
    )


def test_the_two_between_which_a_close_call_is_undecided_are_marked() -> None:
    made = plan("oak-12")
    assert made.firmness.close_call
    fit = cards_that_fit(198)
    first = rows(cards(made, made.alternatives[:fit], 198))[0]
    assert "▶≈ no lengthening, with" in first
    assert "◆≈ one femoral lengthening" in first
    assert "≈" not in rows(cards(plan("rowan-02"), plan("rowan-02").alternatives[:3], 198))[0]


def test_a_course_without_chances_is_not_called_a_road_without_length() -> None:
    made = plan("oak-12")
    none = dict.fromkeys(("residual_mm", "expected", "chance_within_10_mm", "chance_within_20_mm"))
    bare = made.alternatives[0].model_copy(update=none)
    assert {words for _, words in facts(made, bare)} == {"-"}
