"""How long a stage may wait, said in one way everywhere: until another date moves, and never past its own last day."""

from __future__ import annotations

import datetime

from pathway.plan.model import PlanStage


def may_wait_days(stage: PlanStage) -> int | None:
    """Return by how many days a stage may come later: until another one moves, else to its last day.

    None where nothing bounds it, and for what is begun, has no date or goes along with another stage day by day.
    """
    if stage.begun or stage.date is None:
        return None
    days = [days for days in (stage.free_slack_days, stage.slack_days) if days is not None]
    if days:
        return min(days)
    latest = None if stage.window is None else stage.window.latest
    # A visit before a stage may come until that stage; treatment that goes with one begins with it.
    return (latest - stage.date).days if latest is not None and latest > stage.date else None


def may_wait_until(stage: PlanStage) -> datetime.date | None:
    """Return the last day of `may_wait_days`, None where nothing bounds it."""
    days = may_wait_days(stage)
    return None if days is None or stage.date is None else stage.date + datetime.timedelta(days=days)


def moves_others(stage: PlanStage) -> bool:
    """Return whether a later day than `may_wait_until` moves the date of another stage, before its own last day.

    What starts on the day on which another one ends has no date of its own to put off.
    """
    tied = any(edge.from_point == "end" and edge.at_most_months == 0 for edge in stage.after)
    free, slack = stage.free_slack_days, stage.slack_days
    return free is not None and (slack is None or free < slack) and not tied
