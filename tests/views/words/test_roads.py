"""Two roads in words: how they stand and why, ages of print and never a date, and what is nobody's choice."""

from __future__ import annotations

import datetime
import re

import pytest

from pathway.questions.what_if import Answer
from pathway.questions.why import why
from pathway.questions.why_changes import why_not
from pathway.views.documents.files import markdown
from pathway.views.documents.handout import handout
from pathway.views.documents.summary import summary
from pathway.views.words import roads
from pathway.views.words.courses import courses_text
from pathway.views.words.paragraphs import of_child, of_stage
from pathway.views.words.plan import growth_text, plan_text, state_words
from pathway.views.words.timeline import timeline_words
from pathway.views.words.wording import wording
from tests.family import family_text
from tests.plans import rules
from tests.two_roads import made

ABLATION = "foot_amputation"
TWO = ("three_rays", "two_rays", "asked", "kept")


def section(text: str, heading: str) -> str:
    """Return what stands under a heading, up to the next empty line."""
    lines = text.split("\n")
    start = lines.index(heading)
    end = next(n for n in range(start, len(lines)) if not lines[n])
    return " ".join(" ".join(lines[start + 1 : end]).split())


def said(who) -> dict[str, str]:
    """Return all that is printed of a plan, by what prints it."""
    plan = made(who)
    return {
        "plan": plan_text(plan, 100, plain=True),
        "courses": courses_text(Answer((), plan, plan, ()), 100, plain=True),
        "timeline": "\n".join(timeline_words(plan, 100)),
        "family": family_text(plan),
        "handout": markdown(handout(plan, wording(), rules())),
        "summary": markdown(summary(plan)),
        "pane": "\n".join(one.text for one in of_child(plan)),
    }


class TestThePlanAsText:
    def test_roads_come_after_the_difference_with_their_grounds_and_counts(self) -> None:
        text = plan_text(made("three_rays"), 100)
        assert text.index("\nLeg difference\n") < text.index("\nRoads\n") < text.index("\nStages\n")
        told = section(text, "Roads")
        assert told.startswith("Both roads stand side by side")
        assert "20 of 41 such feet were kept" in told

    def test_the_prosthetic_road_is_a_list_of_its_own_in_its_order(self) -> None:
        plan = made("two_rays")
        told = section(plan_text(plan, 100), "Prosthetic road, in its usual order")
        labels = [stage.label for stage in roads.prosthetic_stages(plan)]
        assert [told.index(label) for label in labels] == sorted(told.index(label) for label in labels)
        assert all(label not in section(plan_text(plan, 100), "Stages") for label in labels)
        assert "First prosthesis" in labels

    @pytest.mark.parametrize("who", TWO)
    def test_no_step_of_it_has_a_date_anywhere(self, who) -> None:
        for text in said(who).values():
            for stage in roads.prosthetic_stages(made(who)):
                for line in text.splitlines():
                    assert stage.label not in line or not re.search(r"\d{4}-\d\d-\d\d", line)

    def test_the_road_itself_is_not_listed_as_a_stage_beside_its_steps(self) -> None:
        text = plan_text(made("three_rays"), 100)
        assert "Prosthetic pathway" not in section(text, "Stages")
        assert "Prosthetic pathway" not in section(text, "Prosthetic road, in its usual order")

    def test_what_is_of_the_lengthening_road_is_marked_where_no_road_is_chosen(self) -> None:
        told = section(plan_text(made("three_rays"), 100), "Stages")
        assert "Those marked [lengthening road] are drawn, not chosen." in told
        assert "Tibial lengthening 1 [lengthening road]" in told
        assert "Reassessment before tibial lengthening 1 [lengthening road]" in told

    def test_a_road_that_was_chosen_is_not_marked(self) -> None:
        assert "[lengthening road]" not in plan_text(made("kept"), 100)

    def test_most_children_come_to_what_is_likely(self) -> None:
        plan = made("three_rays")
        likely = [stage for stage in plan.stages if stage.likely]
        assert likely
        assert {state_words(stage) for stage in likely} == {"likely"}
        assert f"likely     {likely[0].label}" in plan_text(plan, 100, plain=True)

    def test_a_dated_stage_past_its_usual_age_says_so(self) -> None:
        told = section(plan_text(made("three_rays"), 100), "Stages")
        assert "Ankle and foot preparation [lengthening road]: later than usual (usually by 4 years)" in told


class TestTheUsualAge:
    @pytest.mark.parametrize(
        ("earliest", "latest", "words"),
        [
            ("2023-07-12", "2024-03-12", "10 to 18 months"),
            ("2023-09-12", "2023-09-12", "12 months"),
            ("2024-03-12", "2034-09-12", "18 months to 12 years"),
            ("2025-09-12", "2028-09-12", "3 to 6 years"),
            ("2028-01-12", "2038-09-12", "5 years 4 months to 16 years"),
            ("2028-09-12", None, "from 6 years"),
        ],
    )
    def test_it_is_told_in_ages(self, earliest, latest, words) -> None:
        plan = made("two_rays")
        day = datetime.date.fromisoformat
        window = {"earliest": day(earliest), "latest": latest and day(latest)}
        kind = type(next(stage.window for stage in plan.stages if stage.window))
        stage = plan.stage(ABLATION).model_copy(update={"past_usual": None, "window": kind(**window)})
        assert roads.span_words(plan, stage) == words
        assert roads.usual_words(plan, stage) == f"usual age {words}"

    def test_past_it_later_is_printed(self) -> None:
        plan = made("two_rays")
        assert roads.usual_words(plan, plan.stage(ABLATION)) == "past the usual age (18 months); later is printed"


class TestWhatComesFirst:
    def test_published_practice_puts_a_road_first_and_family_and_team_decide(self) -> None:
        plan = made("two_rays")
        assert plan.recommended is not None
        assert roads.first_words(plan, plan.recommended) == "first by published practice; family and team decide"
        assert "first by published practice; family and team decide: prosthetic pathway" in plan_text(plan, 100)

    def test_the_first_course_of_an_open_road_is_not_chosen(self) -> None:
        plan = made("three_rays")
        assert plan.recommended is not None
        assert roads.first_words(plan, plan.recommended) == "first of the lengthening road; no road is chosen"

    def test_a_road_that_was_asked_for_says_who_asked(self) -> None:
        plan = made("asked")
        assert plan.recommended is not None
        assert roads.first_words(plan, plan.recommended) == "asked for by family and team"

    def test_a_road_that_was_kept_to_is_recommended_as_ever(self) -> None:
        plan = made("kept")
        assert plan.recommended is not None
        assert roads.first_words(plan, plan.recommended) == "recommended"

    @pytest.mark.parametrize("who", ["three_rays", "two_rays", "asked"])
    def test_nothing_recommends_a_prosthesis_or_an_ablation(self, who) -> None:
        for name, text in said(who).items():
            assert "recommended" not in text.lower(), name

    @pytest.mark.parametrize("who", ["three_rays", "two_rays"])
    def test_nothing_says_that_somebody_chose_where_nobody_did(self, who) -> None:
        for name, text in said(who).items():
            denied = re.findall("(?:not|none is|no road is) chosen", text, re.IGNORECASE)
            assert len(denied) == text.count("chosen"), name


class TestAStageOfTheProstheticRoad:
    def test_the_pane_tells_its_ages_and_who_decides(self) -> None:
        plan = made("two_rays")
        told = " ".join(one.text for one in of_stage(plan, plan.stage(ABLATION)))
        assert "past the usual age (18 months)" in told
        assert "no date: family and team decide" in told
        assert "Allowed from" not in told

    def test_why_says_that_it_is_shown_not_planned(self) -> None:
        plan = made("two_rays")
        assert why(plan, plan.stage(ABLATION))[0].text == "Why foot amputation is shown on the prosthetic road"


class TestAFamilyReadsBothWays:
    def test_how_they_stand_with_the_count_in_plain_words(self) -> None:
        text = " ".join(family_text(made("three_rays")).split())
        assert "Neither way comes first." in text
        assert "Of 41 feet with three toes, teams kept 20." in text
        assert "The way of a longer leg" in text
        assert "The way of an artificial leg" in text

    def test_the_count_comes_from_the_rule_that_prints_it(self) -> None:
        plan = made("three_rays")
        assert plan.roads is not None
        other = tuple(r.model_copy(update={"text": r.text.replace("20 of 41", "7 of 9")}) for r in plan.roads.because)
        changed = plan.model_copy(update={"roads": plan.roads.model_copy(update={"because": other})})
        assert "Of 9 feet with three toes, teams kept 7." in " ".join(family_text(changed).split())

    def test_a_longer_leg_is_told_in_full_where_the_other_way_comes_first(self) -> None:
        text = " ".join(family_text(made("two_rays")).split())
        assert "an artificial leg is talked about first. A longer leg is shown here too." in text
        assert re.search(r"There are usually \w+ operations for length", text)
        assert re.search(r"In about \d+ of 100 children the legs end less than 2 cm apart", text)

    @pytest.mark.parametrize("who", TWO)
    def test_every_step_of_an_artificial_leg_stands_in_text_and_handout(self, who) -> None:
        both = " ".join(family_text(made(who)).split()), markdown(handout(made(who), wording(), rules()))
        for stage in roads.prosthetic_stages(made(who)):
            for text in both:
                assert stage.family_words.rstrip(".")[1:] in text

    def test_a_wish_is_told_as_the_familys_own(self) -> None:
        assert "You and your team have asked for an artificial leg." in " ".join(family_text(made("asked")).split())
        assert "You and your team have asked for a longer leg." in " ".join(family_text(made("kept")).split())

    def test_the_handout_says_that_nothing_is_chosen(self) -> None:
        text = markdown(handout(made("three_rays"), wording(), rules()))
        assert "If you choose a longer leg, “" in text
        assert "None is chosen yet." in text
        assert "This plan:" not in text
        assert "Talked about first: an artificial leg" in markdown(handout(made("two_rays"), wording(), rules()))

    def test_the_words_stand_in_german_too(self) -> None:
        text = markdown(handout(made("three_rays"), wording("de"), rules()))
        assert "Keiner der beiden Wege hat Vorrang." in text
        assert "Von 41 Füßen mit drei Zehen erhielten die Teams 20." in text


class TestBothLegs:
    def test_each_bone_stands_beside_the_normal_one(self) -> None:
        for text in (plan_text(made("both_legs"), 100), growth_text(made("both_legs"), 100)):
            assert "right tibia 141 mm on 2026-10-28, 26 % shorter than normal" in " ".join(text.split())
            assert "no leg length measured" not in text

    def test_classifications_name_their_leg(self) -> None:
        told = section(plan_text(made("both_legs"), 100), "Classification")
        assert "bone scheme 1979, right: II" in told

    def test_what_is_not_planned_is_named_with_its_reason(self) -> None:
        plan = made("both_legs")
        told = section(plan_text(plan, 100), "Not planned here")
        assert plan.refused
        for item in plan.refused:
            assert f"{item.label}: {item.because}" in told

    def test_why_tells_the_refusal_first(self) -> None:
        plan = made("both_legs")
        first, reason, *_ = why_not(plan, plan.refused[0].stage, rules())
        assert first.text == f"{plan.refused[0].label} is not planned for this child"
        assert plan.refused[0].because in reason.text

    def test_the_family_reads_of_both_legs(self) -> None:
        text = " ".join(family_text(made("both_legs")).split())
        assert "The two legs are 6.5 cm apart." in text
        assert "Walking on their own feet comes first." in text
        assert "nobody has shown that they help when both legs are affected: getting the hip ready" in text

    def test_the_documents_say_both_legs(self) -> None:
        document = handout(made("both_legs"), wording(), rules())
        assert document.subtitle.endswith("both legs")
        assert "26 % shorter than normal" in markdown(summary(made("both_legs")))

    def test_no_course_is_planned_for_length(self) -> None:
        assert "No course is planned for length. Both legs are short" in said("both_legs")["courses"]
