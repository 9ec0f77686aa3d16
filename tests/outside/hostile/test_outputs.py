"""A child whose every free text is an attack: in every output the words are words, and nothing is unseen."""

from __future__ import annotations

import datetime
import html.parser
import json
import shutil
import subprocess
from collections.abc import Callable
from functools import cache
from pathlib import Path

import pytest

from pathway.casefile import case_text, read_case
from pathway.exports.calendar.agenda import Entry
from pathway.exports.calendar.ics import calendar_bytes
from pathway.exports.fhir.bundle import document
from pathway.exports.fhir.checked import checked
from pathway.plain_text import hidden_in
from pathway.plan.make import make_plan
from pathway.plan.model import Plan
from pathway.protocol.load import load_protocol
from pathway.protocol.question import Question
from pathway.record import BlockedWeeks, CaseCalendar, Decision, Record, SchoolHoliday
from pathway.views.data.plan_json import plan_json
from pathway.views.documents.files import html as page_of
from pathway.views.documents.files import markdown, pdf
from pathway.views.documents.handout import handout
from pathway.views.documents.summary import summary
from pathway.views.drawings.timeline import timeline_drawing
from pathway.views.words.plan import plan_text
from pathway.views.words.wording import wording
from tests.examples import ON, example
from tests.exports.made import STAMP, entries_of, events
from tests.family import family_text
from tests.sample import with_notes

ATTACKS = {
    "a terminal": "\x1b]0;owned\x07\x1b[2J\x9b31m",
    "the order of letters": "ok \u202etxt.exe\u202c \u2066x\u2069",
    "markup": "[bold red]x[/] [@click=app.quit]y[/] <script>alert(1)</script> <img src=x onerror=alert(1)> &lt;b&gt;",
    "typesetting": '#import "/etc/passwd" #sys.inputs #read("/etc/passwd") $x$ *b* _i_ `c` \\ @ref <label>',
    "a new entry": "x\r\nEND:VEVENT\r\nBEGIN:VEVENT\r\nUID:evil\r\nSUMMARY:owned\r\nx",
    "a path": "../../../etc/passwd\x00.png",
    "a table cell": "=HYPERLINK(\"http://x\",\"y\") | a | b |\n# heading\n- [ ] x",
}  # fmt: skip
PROTOCOL = load_protocol()


def attacked(words: str) -> Record:
    record = example("rowan-02")
    decision = Decision(date=ON, by="family", kind="decline", stage="second_team", reason=words)
    days = {"from": datetime.date(2027, 7, 1), "to": datetime.date(2027, 7, 20)}
    calendar = CaseCalendar(
        blocked=(BlockedWeeks(reason=words, **days),), school_holidays=(SchoolHoliday(name=words, **days),)
    )
    more = {"decisions": (*record.decisions, decision), "calendar": calendar}
    hostile = with_notes(record, words).model_copy(update=more)
    # As it comes out of a registry that took it in before anybody looked.
    return Record.model_validate(hostile.model_dump(mode="json", by_alias=True))


@cache
def planned(attack: str) -> tuple[Record, Plan]:
    record = attacked(ATTACKS[attack])
    return record, make_plan(Question(record, PROTOCOL, ON))


def names() -> dict[str, str]:
    return {rule.id: rule.label for rule in PROTOCOL.findings}


def calendar(record: Record, plan: Plan) -> bytes:
    return calendar_bytes(record.child.id, entered(record, plan), ON, STAMP, plan.cautions[0].text, wording())


def entered(record: Record, plan: Plan) -> tuple[Entry, ...]:
    return entries_of(plan, record)


TEXTS: dict[str, Callable[[Record, Plan], str]] = {
    "plan": lambda _, plan: plan_text(plan, 100),
    "plan as JSON": lambda _, plan: plan_json(plan),
    "family": lambda _, plan: family_text(plan, 72),
    "handout": lambda _, plan: page_of(handout(plan, wording(), PROTOCOL)),
    "summary": lambda _, plan: page_of(summary(plan, names())),
    "summary as Markdown": lambda _, plan: markdown(summary(plan, names())),
    "timeline": lambda _, plan: timeline_drawing(plan, wording(), PROTOCOL).svg(),
    "calendar": lambda record, plan: calendar(record, plan).decode("utf-8").replace("\r\n", "\n"),
    "record system": lambda record, plan: checked(document(plan, record, PROTOCOL, STAMP, "0")),
    "case file": lambda record, _: case_text(record),
}


@pytest.mark.parametrize("attack", ATTACKS)
@pytest.mark.parametrize("output", TEXTS)
def test_nothing_is_unseen_in_any_output(attack: str, output: str) -> None:
    assert hidden_in(TEXTS[output](*planned(attack))) is None


class _Tags(html.parser.HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[str, tuple[str, ...]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, tuple(name for name, _ in attrs)))


@pytest.mark.parametrize("attack", ATTACKS)
def test_a_page_has_no_tag_that_is_not_ours(attack: str) -> None:
    record, plan = planned(attack)
    for text in (TEXTS["handout"](record, plan), TEXTS["summary"](record, plan), TEXTS["timeline"](record, plan)):
        tags = _Tags()
        tags.feed(text)
        assert not [tag for tag, names in tags.found if tag in ("script", "img", "b") or "onerror" in names]


@pytest.mark.parametrize("attack", ATTACKS)
def test_a_calendar_has_the_entries_of_the_plan_and_no_others(attack: str) -> None:
    record, plan = planned(attack)
    found = events(calendar(record, plan))
    assert not any("evil" in uid for uid in found)
    assert len(found) == len(entered(record, plan))


@pytest.mark.parametrize("attack", ATTACKS)
def test_what_is_json_is_json_and_a_case_file_reads_back(attack: str) -> None:
    record, plan = planned(attack)
    assert json.loads(TEXTS["plan as JSON"](record, plan))["child"]["id"] == "rowan-02"
    assert json.loads(TEXTS["record system"](record, plan))["resourceType"] == "Bundle"
    assert read_case(case_text(record), "case.toml", PROTOCOL) == record


@pytest.mark.parametrize("attack", ["typesetting", "the order of letters"])
def test_a_printed_page_is_laid_out_with_its_words(attack: str, tmp_path: Path) -> None:
    _, plan = planned(attack)
    file = tmp_path / "summary.pdf"
    file.write_bytes(pdf(summary(plan, names())))
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext is not installed here")
    done = subprocess.run(["pdftotext", str(file), "-"], capture_output=True, check=True)
    assert "root:" not in done.stdout.decode("utf-8")
