"""A program of somebody else: checked by mypy and run against the installed wheel, too."""

import datetime
from pathlib import Path

from pathway import __version__, api

day = datetime.date(2026, 11, 25)
protocol: api.Protocol = api.rules()
child: api.Record = api.example("oak-12", day, protocol)
plan: api.Plan = api.plan(child, day, protocol)
dates: list[datetime.date | None] = [stage.date for stage in plan.stages]
first: api.Course = api.courses(child, day)[0]
sheet: api.Sheet = api.worksheet("lengthening", child, day, {"amount_mm": "40"})
seen: api.Preview = api.follow_up(child, "", day)
text: str = api.case_text(api.with_events(child, "", day)) + api.plan_json(plan) + __version__
try:
    api.read_case(Path("nobody.toml"), day)
except api.Refused as refused:
    problems: tuple[api.Problem, ...] = refused.problems
