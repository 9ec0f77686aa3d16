"""A step beyond a caution level of the rules says so in every view, with counts and how indirect they are."""

from __future__ import annotations

import pytest

from pathway.plan.beyond import levels_passed, stage_words
from pathway.plan.model import Plan, PlanStage
from pathway.views.words.family_terms import beyond_of
from pathway.views.words.paragraphs import details, of_stage
from pathway.views.words.plan import plan_text
from pathway.views.words.timeline import timeline_data
from pathway.views.words.wording import wording
from tests.family import family_text
from tests.plans import files, plan, rules
from tests.views.documents.made import family, team, texts

FAR = "alder-06"
"""Its first step is beyond 45 mm and beyond 20 % of the bone."""
COUNTS = ("17 children", "45 mm", "1.3 obstacles and 0.9 complications", "35 segments")
INDIRECT = ("How indirect: all had dislocated", "How indirect: bones of mixed causes")


def flat(text: str) -> str:
    return " ".join(text.split())


def step_of(of: Plan) -> PlanStage:
    return next(stage for stage in of.stages if levels_passed(stage))


def words(lines: object) -> str:
    return flat(" ".join(line.text for line in lines))  # type: ignore[attr-defined]


def document(blocks: object) -> str:
    return flat(" ".join(text for block in blocks.blocks for text in texts(block)))  # type: ignore[attr-defined]


CLINICAL = {
    "plan": lambda of: flat(plan_text(of, 100)),
    "summary": lambda of: document(team(FAR)),
    "timeline pane": lambda of: words(of_stage(of, step_of(of))),
    "details": lambda of: words(details(of, step_of(of))),
    "timeline data": lambda of: flat(" ".join(timeline_data(of, (), ()).notices)),
    "JSON": lambda of: flat(of.model_dump_json()),
}
FAMILY = {
    "family": lambda of: flat(family_text(of)),
    "handout": lambda of: document(family(FAR)),
}


def test_the_levels_are_those_of_the_rules() -> None:
    stage = step_of(plan(FAR))
    passed = {note.rule for note in levels_passed(stage)}
    assert passed == {"femoral_lengthening.dislocation_45mm", "femoral_lengthening.share_20"}
    assert stage.amount_mm is not None
    assert stage.amount_mm > 45
    assert stage.amount_percent is not None
    assert stage.amount_percent > 20


@pytest.mark.parametrize("view", CLINICAL)
def test_a_clinician_reads_counts_and_how_indirect_they_are(view: str) -> None:
    said = CLINICAL[view](plan(FAR))
    told = INDIRECT if view != "JSON" else tuple(text.partition(": ")[2] for text in INDIRECT)
    assert [text for text in (*COUNTS, *told) if text not in said] == []


@pytest.mark.parametrize("view", FAMILY)
def test_a_family_reads_it_in_plain_words(view: str) -> None:
    said = FAMILY[view](plan(FAR))
    for text in beyond_of(step_of(plan(FAR)), wording()):
        assert text in said
    assert "the smallest gain was 4.5 cm" in said
    assert "Ask your team why" in said


def test_json_marks_what_lies_beyond() -> None:
    data = plan(FAR).model_dump(mode="json")
    notes = [note for stage in data["stages"] for note in stage["amount_limits"]]
    assert {note["rule"] for note in notes if note["beyond"]} == {
        "femoral_lengthening.dislocation_45mm",
        "femoral_lengthening.share_20",
    }


def within_all_limits() -> Plan:
    """The same child with a step of 3 cm, which is within all limits."""
    of = plan(FAR)
    step = step_of(of)
    notes = tuple(note.model_copy(update={"beyond": False}) for note in step.amount_limits)
    small = step.model_copy(update={"amount_mm": 30.0, "amount_limits": notes})
    stages = tuple(small if stage.id == step.id else stage for stage in of.stages)
    return of.model_copy(update={"stages": stages, "notices": ()})


def test_a_child_within_all_limits_reads_nothing_of_them() -> None:
    of = within_all_limits()
    assert not [stage.id for stage in of.stages if levels_passed(stage)]
    assert "caution level" not in plan_text(of, 100)
    assert "careful limits" not in family_text(of)
    for stage in of.stages:
        assert "caution level" not in words(of_stage(of, stage))


@pytest.mark.parametrize("child", files())
def test_exactly_the_steps_beyond_are_told(child: str) -> None:
    of = plan(child)
    beyond = {stage.id for stage in of.stages if levels_passed(stage)}
    told = {stage.id for stage in of.stages if "caution level" in words(of_stage(of, stage))}
    assert told == beyond
    assert ("caution level" in plan_text(of, 100)) == bool(beyond)
    for stage in of.stages:
        if stage.amount_mm is None or stage.date is None or stage.status in ("done", "under_way"):
            assert not stage_words(stage)
            continue
        limits = {limit.id: limit for limit in rules().amount_limits if limit.warns}
        passed = {note.rule for note in stage.amount_limits if note.rule in limits and stage.amount_mm > note.limit_mm}
        assert {note.rule for note in levels_passed(stage)} == passed


def test_what_is_done_is_not_warned_of() -> None:
    step = step_of(plan(FAR))
    assert levels_passed(step)
    assert not levels_passed(step.model_copy(update={"status": "done"}))
    assert not levels_passed(step.model_copy(update={"date": None}))


def test_a_level_of_a_clinic_without_plain_words_is_told_by_its_limit() -> None:
    step = step_of(plan(FAR))
    bare = tuple(note.model_copy(update={"family_words": ""}) for note in step.amount_limits)
    told = beyond_of(step.model_copy(update={"amount_limits": bare}), wording())
    assert "The rules of your team are careful from 4.5 cm on." in told
