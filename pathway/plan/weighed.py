"""A child's programme with the weights that are in force, and the same child with one of them changed."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pathway.courses.policy.child import ChildProgramme, programme_of
from pathway.courses.policy.first import First, first_operations
from pathway.courses.policy.induction import solve
from pathway.courses.problem import CourseProblem
from pathway.plan.programme import SetInForce, Weight, WeightChange
from pathway.plan.what_turns import Change
from pathway.protocol.model import Protocol
from pathway.protocol.preference_sets import changes, in_force, multiplied, preferred
from pathway.protocol.question import Question

JUDGED = ("weigh_", "practice_", "slip_", "joint_", "nail_")
"""How the ids of values begin that a programme rests on as judgements."""


@dataclass(frozen=True, slots=True, eq=False)
class Weighed:
    """A child's programme, the problem and question that it was made of, with the weights in force, and our `rules`."""

    child: ChildProgramme
    problem: CourseProblem
    question: Question
    rules: Protocol

    def sets(self) -> tuple[SetInForce, ...]:
        """Return the sets of weights in force."""
        return tuple(
            SetInForce(id=one.id, chosen_by="clinic" if one.default else "family", family_words=one.family_words)
            for one in in_force(self.rules, self.problem.wishes.prefer)
        )

    def rests_on(self) -> tuple[Weight, ...]:
        """Return every value judgement as it is in force, and which sets changed it."""
        changed = changes(in_force(self.rules, self.problem.wishes.prefer))
        return tuple(
            Weight(
                id=value.id,
                value=self.question.protocol.number(value.id),
                in_rules=float(value.value),
                unit=value.unit,
                because=value.because,
                changed_by=tuple(WeightChange(by=by, times=times) for by, times in changed.get(value.id, ())),
            )
            for value in self.rules.values
            if value.id.startswith(JUDGED)
        )

    def first_if(self, change: Change) -> First:
        """Return what each first operation costs with a risk, slope or weight changed."""
        protocol = self.question.protocol
        if change.weight is not None:
            protocol = multiplied(protocol, {change.weight: change.times})
        problem, question = replace(self.problem, protocol=protocol), replace(self.question, protocol=protocol)
        child = programme_of(problem, question, level=change.level, slope=change.slope)
        # What is lengthened does not depend on what it costs: where there was a programme, there is one.
        assert child is not None
        return first_operations(solve(child.programme, precision=np.float32))


def weighed(problem: CourseProblem, question: Question) -> Weighed | None:
    """Return the programme of a problem with the weights in force; None where nothing may be lengthened."""
    protocol = preferred(question.protocol, problem.wishes.prefer)
    in_force_here, asked = replace(problem, protocol=protocol), replace(question, protocol=protocol)
    child = programme_of(in_force_here, asked)
    return None if child is None else Weighed(child, in_force_here, asked, question.protocol)
