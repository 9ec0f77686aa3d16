"""One walk over everything that leaves the program: each number in it is one of the plan's JSON, none is missing."""

from __future__ import annotations

import datetime
import json
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pendulum
import pytest

from pathway.exports.fhir.bundle import document
from pathway.exports.fhir.checked import checked
from pathway.plan.model import Plan
from pathway.views.documents.files import html, markdown, pdf
from pathway.views.documents.handout import handout
from pathway.views.documents.summary import summary
from pathway.views.drawings.leg_pairs import groups_of
from pathway.views.words.plan import plan_text
from pathway.views.words.wording import wording
from tests.examples import NAMES, example
from tests.exports.made import STAMP, entries_of, events, file_of, rules, uid
from tests.plans import plan
from tests.views.documents.made import run
from tests.views.documents.test_numbers import NUMBER, plan_numbers, said, worded

PASSED = ("id", "fullUrl", "system", "code", "reference", "url", "timestamp", "lastUpdated")
MOMENT = re.compile(r"T\d\d:\d\d:\d\d(Z|[+-]\d\d:\d\d)$")
FIRST = "femoral_lengthening_1"


class Words(HTMLParser):
    """What a reader of a page sees, drawings included."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.found: list[str] = []
        self._style = False
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._style = tag == "style"

    def handle_data(self, data: str) -> None:
        if not self._style:
            self.found.append(data)


@dataclass(frozen=True)
class Outputs:
    """The texts of everything that is made of one plan, each as a program of others or a plain reader reads it."""

    made: Plan
    folder: Path

    def texts(self) -> Iterator[tuple[str, str]]:
        name = self.made.child.id
        family, team = handout(self.made, wording(), rules()), summary(self.made)
        yield "handout html", "\n".join(Words(html(family)).found)
        yield "handout pdf", self._printed(pdf(family))
        yield "summary html", "\n".join(Words(html(team)).found)
        yield "summary pdf", self._printed(pdf(team))
        yield "summary md", markdown(team)
        yield "plan in the terminal", plan_text(self.made, 100)
        if any(stage.date for stage in self.made.stages):
            entered = events(file_of(entries_of(self.made, example(name)), child=name)).values()
            yield "calendar", "\n".join(f"{e.dtstart.value}\n{e.summary.value}\n{e.description.value}" for e in entered)
        yield "record document", "\n".join(leaves(self.bundle()))

    def bundle(self) -> dict[str, Any]:
        made = document(self.made, example(self.made.child.id), rules(), STAMP, "0.1.0")
        return json.loads(checked(made))  # type: ignore[no-any-return]

    def _printed(self, made: bytes) -> str:
        file = self.folder / "made.pdf"
        file.write_bytes(made)
        return run("pdftotext", "-layout", file, "-")


def leaves(node: object) -> Iterator[str]:
    """What stands in a record document beside addresses and codes."""
    if isinstance(node, dict):
        for key, value in node.items():
            if key == "div":
                yield " ".join(Words(value).found)
            elif key != "identifier" and (key not in PASSED or isinstance(value, dict)):
                yield from leaves(value)
    elif isinstance(node, list):
        for item in node:
            yield from leaves(item)
    elif not isinstance(node, bool) and node is not None:
        yield f"{node:g}" if isinstance(node, float) else MOMENT.sub("", str(node))


@cache
def beside(name: str) -> set[str]:
    """What may be told beside the plan: the case file's findings, goals and follow-ups of the rules, the words."""
    made = plan(name)
    found = said(json.loads(example(name).model_dump_json())) | worded() | said(made.protocol.version)
    for rule in (*rules().goals, *rules().follow_ups):
        found |= said(json.loads(rule.model_dump_json()))
    for rule in rules().findings:
        found |= said([rule.label, rule.how])
    visits = example(name).until(made.on).visits
    counts = {str(sum(len(visit.measurements) + len(visit.missing) for visit in visits) + len(made.open_questions))}
    cited = {str(number) for number in range(1, len(made.sources) + 1)}
    # The legs before and after each step, as they are drawn: tests/views/drawings holds them against the plan.
    drawn = {f"{abs(pair.gap_mm) / 10:.1f}" for group in groups_of(made) for pair in group.pairs}
    return found | counts | cited | drawn | {str(STAMP.date()), "0.1.0", "0.1"}


def follow_up_days(made: Plan) -> set[str]:
    """A stage's day and whole months after it, off the weekend, by pendulum: the days of visits and follow-ups."""
    days = set()
    for stage in made.stages:
        for months in range(121) if stage.date else ():
            day = pendulum.date(stage.date.year, stage.date.month, stage.date.day).add(months=months)
            while day.isoweekday() > 5:
                day = day.add(days=1)
            days.add(str(day))
    return days


def strange(text: str, known: set[str]) -> list[str]:
    return [number for number in NUMBER.findall(text) if number not in known]


@pytest.mark.parametrize("name", NAMES)
def test_no_output_tells_a_number_that_is_not_the_plans(name: str, tmp_path: Path) -> None:
    known = plan_numbers(name) | beside(name)
    for output, text in Outputs(plan(name), tmp_path).texts():
        days = follow_up_days(plan(name)) if output == "calendar" else set()
        assert strange(text, known | days) == [], output


def test_a_number_that_is_not_the_plans_is_found_in_every_output(tmp_path: Path) -> None:
    """The walk can fail: with another amount in the plan it is told apart, whichever output one looks at."""
    known = plan_numbers("rowan-02") | beside("rowan-02")
    other = next(mm for mm in range(31, 300) if f"{mm / 10:.1f}" not in known and str(mm) not in known)
    stages = tuple(
        stage.model_copy(update={"amount_mm": float(other)}) if stage.id == FIRST else stage
        for stage in plan("rowan-02").stages
    )
    changed = Outputs(plan("rowan-02").model_copy(update={"stages": stages}), tmp_path)
    for output, text in changed.texts():
        days = follow_up_days(plan("rowan-02"))
        assert set(strange(text, known | days)) & {f"{other / 10:.1f}", str(other), f"{other}.0"}, output


Told = tuple[str, str]


def days_in_summary(made: Plan, folder: Path) -> set[Told]:
    rows = [line.split(" | ") for line in markdown(summary(made)).splitlines() if line.startswith("| ")]
    return {(row[0].removeprefix("| ").replace("\\", "").removesuffix(" (local)"), row[2]) for row in rows[1:]}


def days_in_text(made: Plan, folder: Path) -> set[Told]:
    text = plan_text(made, 200)
    found = set()
    for stage in made.stages:
        for line in text.splitlines():
            if re.search(rf"{re.escape(stage.label)}(?! \d)", line):
                found |= {(stage.label, day) for day in re.findall(r"\d{4}-\d\d-\d\d", line)}
    return found


def days_in_calendar(made: Plan, folder: Path) -> set[Told]:
    if not any(stage.date for stage in made.stages):
        return set()
    entered = events(file_of(entries_of(made, example(made.child.id)), child=made.child.id))
    ours = {uid(made.child.id, stage.id): stage.label for stage in made.stages}
    return {(ours[key], planned_day(event)) for key, event in entered.items() if key in ours}


def planned_day(event: Any) -> str:
    """The day of an entry; of a visit that stands on the next open day, the day of the plan that it names."""
    moved = re.search(r"No visit can be on (\d+ \w+ \d{4})\.", event.description.value)
    if moved is None:
        return str(event.dtstart.value)
    day = datetime.datetime.strptime(moved[1], "%d %B %Y").date()
    assert day < event.dtstart.value
    assert event.dtstart.value.isoweekday() <= 5
    return str(day)


def days_in_record(made: Plan, folder: Path) -> set[Told]:
    resources = [entry["resource"] for entry in Outputs(made, folder).bundle()["entry"]]
    asked = [one for one in resources if one["resourceType"] == "ServiceRequest"]
    return {(one["code"]["text"], one["occurrencePeriod"]["start"]) for one in asked if "occurrencePeriod" in one}


@pytest.mark.parametrize("told", [days_in_summary, days_in_text, days_in_calendar, days_in_record])
@pytest.mark.parametrize("name", NAMES)
def test_every_stage_stands_on_its_day_in_every_output(
    name: str, told: Callable[[Plan, Path], set[Told]], tmp_path: Path
) -> None:
    made: Any = json.loads(plan(name).model_dump_json())
    wanted = {(stage["label"], stage["date"]) for stage in made["stages"] if stage["date"] is not None}
    assert wanted <= told(plan(name), tmp_path)
    assert all(datetime.date.fromisoformat(day) for _, day in wanted)


@pytest.mark.parametrize("name", NAMES)
def test_no_output_names_more_of_the_child_than_its_pseudonym(name: str, tmp_path: Path) -> None:
    """The note of this child names a person."""
    made = plan(name)
    named = made.model_copy(update={"child": made.child.model_copy(update={"note": "Ask Erika Mustermann, 0555 0100"})})
    born = made.child.date_of_birth
    written = (born.isoformat(), f"{born:%Y%m%d}", f"{born.day}.{born.month}.{born.year}", f"{born:%d.%m.%Y}")
    for output, text in Outputs(named, tmp_path).texts():
        if output == "plan in the terminal":
            continue  # the team's own screen: it shows the note, and nothing of it is written for others
        for telling in ("Mustermann", "0555", *written):
            assert telling not in text, output
