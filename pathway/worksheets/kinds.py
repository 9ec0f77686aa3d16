"""The kinds of worksheet: which stages each is opened for, and the function that makes it."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from pathway.plan.model import Plan, PlanStage
from pathway.protocol.model import Protocol, Role
from pathway.protocol.roles import role_of
from pathway.worksheets import axis, guided_growth, osteotomy
from pathway.worksheets.case import Case
from pathway.worksheets.growth_arrest import worksheet as growth_arrest
from pathway.worksheets.lengthening import worksheet as lengthening
from pathway.worksheets.lift import worksheet as lift
from pathway.worksheets.sheet import Kind, Sheet, problem


@dataclass(frozen=True, slots=True)
class Worksheet:
    """One kind of worksheet: the role of the stages it opens for (None: for no stage), and what makes it; pure."""

    role: Role | None
    make: Callable[[Case, Mapping[str, str]], Sheet]


KINDS: Mapping[Kind, Worksheet] = {
    "axis": Worksheet(None, axis.worksheet),
    "osteotomy": Worksheet(osteotomy.ROLE, osteotomy.worksheet),
    "lengthening": Worksheet(lengthening.ROLE, lengthening.worksheet),
    "growth-arrest": Worksheet(growth_arrest.ROLE, growth_arrest.worksheet),
    "guided-growth": Worksheet(guided_growth.ROLE, guided_growth.worksheet),
    "lift": Worksheet(lift.ROLE, lift.worksheet),
}


def stage_of(kind: Kind, plan: Plan, protocol: Protocol, wanted: str | None) -> PlanStage | None:
    """Return the plan's stage that a worksheet is opened for.

    The one named, else the one under way, else the next one; None where the plan has none of that kind and the
    sheet is made by hand. Raises Refused for a name that the plan has not, or that is of another kind.
    """
    role = KINDS[kind].role
    fitting = [stage for stage in plan.stages if role is not None and role_of(stage.kind, protocol) == role]
    if wanted is not None:
        named = next((stage for stage in fitting if stage.id == wanted), None)
        if named is not None:
            return named
        ids = [stage.id for stage in fitting]
        near = difflib.get_close_matches(wanted, ids, 1)
        do = f"did you mean {near[0]}" if near else "leave --stage out to set everything by hand"
        raise problem(kind, "--stage", f"the stage {wanted!r}", f"one of {', '.join(ids) or 'none in this plan'}", do)
    to_come = [stage for stage in fitting if stage.status != "done"]
    return min(to_come, key=lambda stage: stage.status != "under_way", default=None)


def kind_for(stage: PlanStage, protocol: Protocol) -> Kind | None:
    """Return the kind of worksheet that opens for a stage; None where there is none."""
    role = role_of(stage.kind, protocol)
    return next((kind for kind, worksheet in KINDS.items() if worksheet.role == role and role is not None), None)
