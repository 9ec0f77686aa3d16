"""What-if questions: the plan again under wishes, and how its first course differs."""

from __future__ import annotations

import datetime
import itertools

import pytest

from pathway.plan.model import Plan
from pathway.plan.verify import check_plan
from pathway.protocol.load import load_protocol
from pathway.protocol.question import Question
from pathway.questions.what_if import WhatIf, what_if, with_wishes
from tests.examples import ON, example

PROTOCOL = load_protocol()
CHILDREN = ("rowan-02", "hazel-08", "birch-04", "alder-06", "willow-03", "oak-12")


def lengthenings(plan: Plan) -> list[tuple[datetime.date, datetime.date]]:
    return [
        (stage.date, stage.end_date)
        for stage in plan.stages
        if stage.kind.endswith("lengthening") and stage.status == "later" and stage.date and stage.end_date
    ]


class TestNothingAsked:
    def test_the_plan_stays_and_nothing_is_compared(self) -> None:
        answer = what_if(Question(example("rowan-02"), PROTOCOL, ON), WhatIf())
        assert answer.wished is answer.as_it_stands
        assert (answer.asked, answer.differences) == ((), ())


class TestEachWishIsKept:
    @pytest.mark.parametrize("name", CHILDREN)
    def test_without_growth_arrest(self, name: str) -> None:
        answer = what_if(Question(example(name), PROTOCOL, ON), WhatIf(without=("contralateral_growth_arrest",)))
        best = answer.wished.recommended
        assert best is not None
        assert not any(stage.kind == "contralateral_growth_arrest" for stage in best.stages)

    @pytest.mark.parametrize("name", CHILDREN)
    @pytest.mark.parametrize("most", [0, 1, 2])
    def test_at_most_so_many_lengthenings(self, name: str, most: int) -> None:
        answer = what_if(Question(example(name), PROTOCOL, ON), WhatIf(at_most_lengthenings=most))
        for course in answer.wished.alternatives:
            assert sum(stage.kind.endswith("lengthening") for stage in course.stages) <= most

    @pytest.mark.parametrize("name", CHILDREN)
    def test_no_device_in_a_school_year(self, name: str) -> None:
        year = datetime.date(2031, 9, 1), datetime.date(2032, 6, 30)
        answer = what_if(Question(example(name), PROTOCOL, ON), WhatIf(not_in=(year,)))
        for start, end in lengthenings(answer.wished):
            assert end < year[0] or start > year[1]

    @pytest.mark.parametrize("name", CHILDREN)
    def test_finished_before_a_day(self, name: str) -> None:
        day = datetime.date(2036, 7, 1)
        answer = what_if(Question(example(name), PROTOCOL, ON), WhatIf(finish_before=day))
        assert all(end < day for _, end in lengthenings(answer.wished))

    def test_all_at_once_and_the_judge_agrees(self) -> None:
        asked = WhatIf(
            without=("contralateral_growth_arrest",),
            at_most_lengthenings=2,
            not_in=((datetime.date(2031, 9, 1), datetime.date(2032, 6, 30)),),
        )
        record = example("rowan-02")
        answer = what_if(Question(record, PROTOCOL, ON), asked)
        assert check_plan(answer.wished, with_wishes(record, asked, ON), PROTOCOL) == ()
        assert answer.asked == (
            "without growth arrest of the other leg",
            "at most 2 further lengthenings",
            "no device on the bone from 2031-09-01 to 2032-06-30",
        )


class TestTheComparison:
    def test_it_says_what_changes_against_the_course_that_stands_first(self) -> None:
        answer = what_if(Question(example("rowan-02"), PROTOCOL, ON), WhatIf(without=("contralateral_growth_arrest",)))
        one, other = answer.as_it_stands.recommended, answer.wished.recommended
        assert one is not None
        assert other is not None
        assert answer.differences[0] == f"The first choice is then: {other.summary} (instead of: {one.summary})."
        now, then = one.expected, other.expected
        assert now is not None
        assert then is not None
        assert now.adult_height_lost_mm is not None
        assert round(then.device_months.mean) != round(now.device_months.mean)
        months = f"{then.device_months.mean:.0f} months with a device on average"
        assert f"{months} instead of {now.device_months.mean:.0f}." in answer.differences
        lost = f"0.0 cm of adult height lost on average instead of {now.adult_height_lost_mm.mean / 10:.1f}."
        assert lost in answer.differences

    def test_a_wish_that_is_met_already_changes_nothing(self) -> None:
        far = (datetime.date(2045, 1, 1), datetime.date(2045, 6, 30))
        answer = what_if(Question(example("alder-06"), PROTOCOL, ON), WhatIf(not_in=(far,)))
        assert answer.differences == ("The same course stays first: one femoral lengthening, no growth arrest.",)

    def test_a_course_chosen_before_no_longer_counts(self) -> None:
        record = example("hazel-08")
        wished = with_wishes(record, WhatIf(at_most_lengthenings=0), ON)
        assert not any(decision.kind == "choose_course" for decision in wished.decisions)

    def test_a_stage_that_is_none_is_refused(self) -> None:
        with pytest.raises(KeyError):
            what_if(Question(example("rowan-02"), PROTOCOL, ON), WhatIf(without=("no_such_stage",)))


class TestLift:
    def test_a_lower_lift_is_never_bought_with_more_months_above_it(self) -> None:
        """The months above the wished lift are what is weighed: they may not rise."""
        record = example("rowan-02")
        answer = what_if(Question(record, PROTOCOL, ON), WhatIf(lift_at_most_mm=40))
        over = 40 + PROTOCOL.number("lift_less_than_difference_mm")

        def months(plan: Plan) -> float:
            points = plan.growth.by_age
            return sum(
                12 * (b.age_years - a.age_years) for a, b in itertools.pairwise(points) if a.with_plan_mm.p50 > over
            )

        assert answer.wished.recommended is not None
        assert months(answer.wished) <= months(answer.as_it_stands) + 3


class TestNotBeaten:
    @pytest.mark.parametrize("name", CHILDREN)
    def test_only_courses_within_the_protocol_are_marked_and_none_beats_another(self, name: str) -> None:
        answer = what_if(Question(example(name), PROTOCOL, ON), WhatIf(without=("contralateral_growth_arrest",)))
        marked = [course for course in answer.wished.alternatives if course.not_beaten]
        assert marked
        assert all(course.within_protocol and course.residual_mm is not None for course in marked)

        def weighed(course) -> tuple[float, ...]:
            usual = course.usually
            operations = round(usual.planned_operations + usual.unplanned_operations, 1)
            return operations, usual.device_months, -round(100 * course.chance_within_20_mm)

        for one, other in itertools.permutations(marked, 2):
            worse = [a < b for a, b in zip(weighed(one), weighed(other), strict=True)]
            same = weighed(one) == weighed(other)
            assert same or not (all(a or x == y for a, x, y in zip(worse, weighed(one), weighed(other), strict=True)))


class TestPreferred:
    """What is preferred weighs more: the first course has no more of it than without the wish."""

    @staticmethod
    def measured(plan: Plan, wish: str) -> float:
        """Return the measure of the first course: as it usually happens, or of the largest step."""
        best = plan.recommended
        assert best is not None
        steps = [stage.amount_mm or 0.0 for stage in best.stages if stage.kind.endswith("lengthening")]
        if best.usually is None or best.expected is None or wish == "smallest_steps":
            return max(steps, default=0.0)
        usual = best.usually
        return {
            # The burden grows faster than the difference: large ones are what the wish shortens.
            "shortest_time_different": best.expected.months_over_50_mm,
            "least_device_time": usual.device_months,
            "fewest_operations": usual.planned_operations + usual.unplanned_operations,
        }[wish]

    @pytest.mark.parametrize("name", CHILDREN)
    @pytest.mark.parametrize(
        "wish", ["shortest_time_different", "smallest_steps", "least_device_time", "fewest_operations"]
    )
    def test_there_is_no_more_of_it_than_without_the_wish(self, name: str, wish: str) -> None:
        record = example(name)
        record = record.model_copy(update={"decisions": ()})
        answer = what_if(Question(record, PROTOCOL, ON), WhatIf(prefer=(wish,)))
        assert self.measured(answer.wished, wish) <= self.measured(answer.as_it_stands, wish) + 0.2
