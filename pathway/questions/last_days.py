"""Which last days a plan has, told apart: what cannot be made up, usual latest ages, limits of the rules.

Strip, list and what is due all ask here, so that no screen warns of a day that another one does not know.
"""

from __future__ import annotations

import datetime
from typing import TYPE_CHECKING

if TYPE_CHECKING:  # lists are read off what was kept: they load no plan
    from pathway.plan.model import LastBy, Plan, PlanStage

LastDay = tuple[datetime.date, "PlanStage"]


def last_by(stage: PlanStage) -> LastBy:
    """Return what ends the window of a stage; plans stored before that was kept tell it by the growth plates."""
    if stage.window is None or stage.window.latest is None:
        return ""
    return stage.last_by or ("growth" if stage.physes else "limit")


def cannot_be_made_up(plan: Plan) -> tuple[LastDay, ...]:
    """Return the last days of what works by the growth that is left and is still to come, the soonest first."""
    return _ending(plan, "growth", dated=False)


def usual_latest(plan: Plan) -> tuple[LastDay, ...]:
    """Return until when operations to come are of use as a rule, the soonest first: later is worse, not lost."""
    return _ending(plan, "rule_of_use", dated=True)


def limits(plan: Plan) -> tuple[LastDay, ...]:
    """Return the last days that the rules let operations to come have, where no rule of use ends them before."""
    return _ending(plan, "limit", dated=True)


def _ending(plan: Plan, by: LastBy, *, dated: bool) -> tuple[LastDay, ...]:
    found = [
        (stage.window.latest, stage)
        for stage in plan.stages
        if not stage.begun and stage.status != "optional" and stage.window is not None and stage.window.latest
        if last_by(stage) == by and (not dated or (stage.operation and stage.date is not None))
    ]
    return tuple(sorted(found, key=lambda item: (item[0], item[1].id)))
