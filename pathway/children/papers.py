"""What is written of a child for others: each by one function, which the verb and the export screen both call.

Bytes and documents come out; where they go is said to `pathway.files.writing`.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib import util
from typing import TYPE_CHECKING

from pathway import __version__
from pathway.files.kinds import Form, Kind, marked, marked_kind
from pathway.problems import Problem, Refused, refused

if TYPE_CHECKING:
    from pathway.exports.calendar.ics import Earlier
    from pathway.plan.model import Plan
    from pathway.protocol.model import Protocol
    from pathway.protocol.question import Question
    from pathway.record import Record
    from pathway.registry.journal.entry import Entry
    from pathway.views.documents.document import Document
    from pathway.views.documents.files import Paper
    from pathway.views.documents.summary import AcceptedPlan
    from pathway.views.words.wording import Wording
    from pathway.worksheets.sheet import Sheet

HANDOUT: tuple[Form, ...] = ("pdf", "html")
SUMMARY: tuple[Form, ...] = ("pdf", "html", "md")
RESULTS: tuple[Form, ...] = ("pdf", "html", "md")
THEATRE: tuple[Form, ...] = ("pdf", "html", "md", "svg")
"""The forms of each document; the first is the usual one."""
THEATRE_PAGE = "page for the table"
SHEET_COLUMNS = 100
"""How wide the text of a worksheet is in a file: fits a page on its side, and most windows."""
NO_DAYS = "No day of turning is written until the film is repeated: the file says so instead."


def summary_kind(form: Form) -> Kind:
    """Return the kind of a summary in a form."""
    return marked_kind("summary", form)


def handout_kind(form: Form) -> Kind:
    """Return the kind of a handout in a form."""
    return marked_kind("handout", form)


def theatre_kind(form: Form) -> Kind:
    """Return the kind of a page for the operating table in a form."""
    return marked_kind(THEATRE_PAGE, form)


SHEET = marked_kind("worksheet", "txt")


def words_in(language: str, protocol: Protocol, own: str | None = None, own_name: str = "") -> Wording:
    """Return the words of a language with a clinic's text over them, for a child's rules.

    What a clinic's rules say otherwise than ours stays as the clinic wrote it: our translation would not say it.
    """
    from pathway.protocol.load import load_protocol
    from pathway.views.words.rule_words import rule_words
    from pathway.views.words.wording import wording

    return wording(language, own, own_name).for_rules(rule_words(protocol), rule_words(load_protocol()))


def handout(compared: Plan, protocol: Protocol, words: Wording) -> Document:
    """Return the family's document: the years ahead in plain words."""
    from pathway.views.documents.handout import handout as made_for_family

    return made_for_family(compared, words, protocol)


def summary(compared: Plan, protocol: Protocol, accepted: AcceptedPlan | None, *, kept: bool) -> Document:
    """Return the team's document, in English; of a child that is `kept` in a registry it says what was `accepted`."""
    from pathway.views.documents.handout import two_minutes
    from pathway.views.documents.summary import summary as made_for_team
    from pathway.views.family.story import story_of

    names = {rule.id: rule.label for rule in protocol.findings}
    first = two_minutes(story_of(compared, protocol), words_in("en", protocol))
    return made_for_team(compared, names, accepted, kept=kept, family=first)


def accepted_plan(entries: Sequence[Entry], registry_head: str, child: str) -> AcceptedPlan | None:
    """Return the last plan that was accepted for a child, None where none was; refuses one that cannot be read."""
    from pathway.registry.journal.fold import accepted_plans
    from pathway.registry.journal.payloads import UnreadablePayload
    from pathway.views.documents.summary import AcceptedPlan

    try:
        found = [one for one in accepted_plans(entries) if one.revision.accepted]
        if not found:
            return None
        last = found[-1]
        stages = tuple(
            (str(one["id"]), one["date"] and datetime.date.fromisoformat(one["date"]), one["amount_mm"])
            for one in last.revision.plan["stages"]
        )
    except (UnreadablePayload, KeyError, TypeError, ValueError) as error:
        seen, remedy = f"an accepted plan that cannot be read ({error})", "use the program that wrote it"
        raise refused("the registry", seen, "a plan", remedy, key=child) from error
    version = last.revision.protocol_version
    return AcceptedPlan(last.number, last.entry.who, last.entry.when, last.revision.on, version, stages, registry_head)


def in_form(document: Document, kind: Kind, paper: Paper = "a4") -> bytes:
    """Return a document in the form of its kind (PDF, HTML, Markdown), with the mark of the kind."""
    from pathway.views.documents.files import html, markdown, pdf

    if kind.form == "pdf":
        return marked(pdf(document, paper, keywords=(kind.mark,)), kind)
    return marked((html if kind.form == "html" else markdown)(document).encode(), kind)


@dataclass(frozen=True, slots=True)
class Calendar:
    """A calendar (ICS), and what is said beside the file: what the sheet of a lengthening asks back."""

    data: bytes
    beside: tuple[str, ...] = ()


def calendar(
    plan: Plan,
    question: Question,
    words: Wording,
    moment: datetime.datetime,
    lengthenings: Mapping[str, Mapping[str, str]] | None = None,
    before: Mapping[str, Earlier] | None = None,
) -> Calendar:
    """Return a plan as a calendar: its steps, and every day of the `lengthenings` as set on their sheets, by stage.

    `before` are the entries of the file that was sent earlier. Refuses a stage that is none of the plan's.
    """
    from pathway.exports.calendar.agenda import PLAN_PART, Clinic, agenda
    from pathway.exports.calendar.ics import calendar_bytes
    from pathway.rule_engine.facts import facts_on
    from pathway.timing.calendar import calendar_of
    from pathway.views.words.family_terms import caution_of

    protocol, record, day = question.protocol, question.record, question.on
    clinic = Clinic(protocol, calendar_of(record, protocol), words)
    entries = list(agenda(plan, facts_on(question.about(record.until(day)), None), clinic))
    parts: list[str] = [PLAN_PART]
    beside: list[str] = []
    for stage_id, settings in (lengthenings or {}).items():
        from pathway.exports.calendar.turning import part_of, turning_agenda
        from pathway.worksheets.kinds import stage_of
        from pathway.worksheets.lengthening.worksheet import worked
        from pathway.worksheets.of_plan import sheet_case

        stage = stage_of("lengthening", plan, protocol, stage_id)
        assert stage is not None  # a name was asked for
        found = worked(sheet_case(question.as_known(), plan, stage), settings)
        beside += [asked_back.text for asked_back in found.so_far.questions]
        if found.given.held:
            beside.append(NO_DAYS)
        entries += turning_agenda(plan, stage, found, clinic)
        parts.append(part_of(stage_id))
    rules_named = {"rules": protocol.name, "version": protocol.version}
    about = words.say("calendar.about", caution=caution_of(plan, words), day=day, **rules_named)
    return Calendar(calendar_bytes(plan.child.id, entries, day, moment, about, words, before, parts), tuple(beside))


def earlier_entries(data: bytes, name: str) -> Mapping[str, Earlier]:
    """Return the entries of a calendar that was sent earlier; refuses what is none of ours."""
    from pathway.exports.calendar.ics import read_previous
    from pathway.files.reading import checked_text

    found = read_previous(checked_text(data, name, "a calendar").encode(), name)
    if isinstance(found, Problem):
        raise Refused(found)
    return found


def sheet_text(sheet: Sheet, note: str) -> bytes:
    """Return a worksheet as it stands, as the text that its verb prints; `note` is that of the child's record."""
    from pathway.views.words.caution import of_children
    from pathway.views.words.worksheet import worksheet_text

    return marked(worksheet_text(sheet, SHEET_COLUMNS, invented=of_children([note])).encode(), SHEET)


def record_document(plan: Plan, record: Record, protocol: Protocol, moment: datetime.datetime) -> str:
    """Return the document for a record system (FHIR R4, JSON); needs the extra `fhir`."""
    from pathway.exports.fhir.bundle import document
    from pathway.exports.fhir.checked import checked

    return checked(document(plan, record, protocol, moment, __version__)) + "\n"


def has_fhir() -> bool:
    """Return whether what checks record documents is installed."""
    return util.find_spec("fhir") is not None and util.find_spec("fhir.resources") is not None
