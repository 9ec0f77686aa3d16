"""The interface for other programs: read a case, plan it, follow it up, compare courses, work out an operation.

Everything is a frozen value of pydantic or a dataclass, typed, and read with `model_dump()`; lengths are in mm, angles
in degrees, ages in decimal years, days are `datetime.date`. What cannot be used raises `Refused`, whose `problems` each
say where, what was found, what was expected and what to do. Nothing is planned on a clock: the day is a parameter.

A planning aid, not a medical device: whoever shows a plan shows its `cautions` too; the treating surgeon decides.

>>> import datetime
>>> from pathway import api
>>> day = datetime.date(2026, 11, 25)
>>> child = api.example("oak-12", day)
>>> plan = api.plan(child, day)
>>> for stage in plan.stages[:2]:
...     print(stage.date, stage.label)
2026-11-25 Second hip look
2026-11-25 Shoe lift
>>> plan.cautions[0].text.split("; ")[0]
'Planning aid: the treating surgeon decides'
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from pathlib import Path

from pathway.casefile import case_text, read_fragment
from pathway.casefile.read_and_check import read_and_check
from pathway.children import examples
from pathway.children.case_files import text_of
from pathway.events import FollowUp, apply
from pathway.files.rules import rules_folder
from pathway.plan.make import make_plan
from pathway.plan.model import Course, Plan
from pathway.problems import CannotBeDone, Problem, Refused
from pathway.protocol.load import load_protocol
from pathway.protocol.model import Protocol
from pathway.protocol.prove import refuse_unproved
from pathway.protocol.question import Question
from pathway.questions.followup import Preview, preview
from pathway.record import Record
from pathway.views.data.plan_json import plan_json
from pathway.worksheets.kinds import KINDS
from pathway.worksheets.of_plan import opened
from pathway.worksheets.sheet import Kind, Sheet

__all__ = [
    "CannotBeDone",
    "Course",
    "Plan",
    "Preview",
    "Problem",
    "Protocol",
    "Record",
    "Refused",
    "Sheet",
    "case_text",
    "courses",
    "example",
    "follow_up",
    "plan",
    "plan_json",
    "read_case",
    "read_case_text",
    "rules",
    "with_events",
    "worksheet",
]


def rules(overlay_dir: Path | None = None) -> Protocol:
    """Return the rules that ship, or with a clinic's own folder laid over them; raises Refused with every fault.

    >>> api.rules().stage("femoral_lengthening").label
    'Femoral lengthening'
    """
    if overlay_dir is None:
        return load_protocol()
    protocol = load_protocol(rules_folder(overlay_dir))
    refuse_unproved(protocol, f"With the rules of {overlay_dir} the protocol is not consistent.")
    return protocol


def read_case(path: Path, on: datetime.date, protocol: Protocol | None = None) -> Record:
    """Return the record of a case file (TOML) as of a day; raises Refused with every fault of the file."""
    return read_case_text(text_of(path), on, protocol, name=str(path))


def read_case_text(text: str, on: datetime.date, protocol: Protocol | None = None, name: str = "case") -> Record:
    """Return the record that a text in the form of a case file holds; `name` opens each sentence about a fault.

    >>> try:
    ...     api.read_case_text("schema_version = 1", day)
    ... except api.Refused as refused:
    ...     print(refused.problems[0].sentence)
    case, child: found nothing, expected a table [child]; add a line [child] with its fields below.
    """
    found = read_and_check(text, name, protocol or load_protocol(), on)
    if isinstance(found, Record):
        return found
    raise Refused(*found)


def example(name: str, on: datetime.date, protocol: Protocol | None = None) -> Record:
    """Return an invented example child as known on a day; raises Refused for a name that is none."""
    if not examples.known(name):
        raise Refused(Problem(name, "", None, "no example of that name", f"one of {', '.join(examples.names())}", ""))
    return read_case_text(examples.text(name), on, protocol, name)


def plan(record: Record, on: datetime.date, protocol: Protocol | None = None, *, compared: bool = False) -> Plan:
    """Return the plan of a child on a day; with `compared` also the courses beside the recommended one (slower).

    The same input gives the same plan. A child who cannot be planned gets a plan with its `conflicts` named.
    """
    return make_plan(_question(record, on, protocol), compared=compared)


def courses(record: Record, on: datetime.date, protocol: Protocol | None = None) -> tuple[Course, ...]:
    """Return the courses of treatment that come into question, the recommended one first.

    >>> first, *others = api.courses(child, day)
    >>> first.summary, first.recommended, any(course.recommended for course in others)
    ('no lengthening, with growth arrest of the other leg', True, False)
    """
    return plan(record, on, protocol, compared=True).alternatives


def follow_up(record: Record, entered: str, on: datetime.date, protocol: Protocol | None = None) -> Preview:
    """Return what new facts change: the plan before and after, and each change with its cause; nothing is saved.

    `entered` is TOML with `[[visit]]`, `[[operation]]`, `[[decision]]` as in a case file. `with_events` makes the
    record with it.

    >>> entered = '''
    ... [[visit]]
    ... date = 2026-11-25
    ... method = "standing_full_length_film"
    ... [visit.left]
    ... femur_length_mm = 371
    ... [visit.right]
    ... femur_length_mm = 407
    ... '''
    >>> seen = api.follow_up(child, entered, day)
    >>> seen.changes[0].because[0]
    'length of the femur left 371 mm on 2026-11-25'
    """
    asked = _question(record, on, protocol)
    return preview(asked, _events(asked, entered).events)


def with_events(record: Record, entered: str, on: datetime.date, protocol: Protocol | None = None) -> Record:
    """Return the record with new facts in the form of a case file (see `follow_up`)."""
    return apply(record, _events(_question(record, on, protocol), entered).events)


def worksheet(
    kind: Kind,
    record: Record,
    on: datetime.date,
    settings: Mapping[str, str] | None = None,
    stage: str | None = None,
    protocol: Protocol | None = None,
) -> Sheet:
    """Return the worksheet of an operation of the plan, its next one of that kind or the stage named.

    `settings` set inputs by hand, as texts that a person would type (`{"amount_mm": "50"}`). Raises Refused for what
    cannot be.

    >>> sheet = api.worksheet("lengthening", child, day, {"amount_mm": "40"})
    >>> sheet.kind
    'lengthening'
    """
    asked = _question(record, on, protocol)
    return KINDS[kind].make(opened(kind, asked, make_plan(asked, compared=False), stage), settings or {})


def _question(record: Record, on: datetime.date, protocol: Protocol | None) -> Question:
    return Question(record, protocol or load_protocol(), on)


def _events(asked: Question, entered: str) -> FollowUp:
    found = read_fragment(entered, asked.record.child, "entered", asked.protocol, asked.on)
    if isinstance(found, FollowUp):
        return found
    raise Refused(*found)
