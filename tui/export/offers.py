"""The papers that can be made of a child now, each with its file name and what makes it. No screen in here."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial

from pathway.casefile import case_text
from pathway.children import papers
from pathway.files.kinds import CALENDAR, FHIR_PLAN, Form, Kind
from pathway.plan.model import Plan, PlanStage
from pathway.problems import CannotBeDone, Problem, refused
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.protocol.words import lower_first
from pathway.views.documents.summary import AcceptedPlan
from pathway.worksheets.case import Case
from pathway.worksheets.kinds import KINDS, kind_for
from pathway.worksheets.sheet import Kind as SheetKind
from tui.export.sheets import AXIS, SheetAsSet

LENGTHENING: SheetKind = "lengthening"
OSTEOTOMY: SheetKind = "osteotomy"


@dataclass(frozen=True, slots=True)
class Ground:
    """What papers are made of: the child as it stands on the screens, the plan of that, the sheets as they were set.

    `stage` is the one selected, whose worksheet is offered as planned where it was not opened.
    """

    question: Question
    plan: Plan
    sheets: tuple[SheetAsSet, ...] = ()
    stage: PlanStage | None = None
    language: str = "en"

    @property
    def child(self) -> str:
        """Return the id of the child."""
        return self.question.record.child.id

    @property
    def protocol(self) -> Protocol:
        """Return the rules."""
        return self.question.protocol


@dataclass(frozen=True, slots=True)
class Edge:
    """What only the edge can give while a paper is made: the moment, what was accepted, the file sent earlier."""

    moment: datetime.datetime
    compared: Callable[[], Plan]
    accepted: Callable[[], AcceptedPlan | None]
    accepts: bool = False
    earlier: bytes | None = None


@dataclass(frozen=True, slots=True)
class Paper:
    """A finished paper: its bytes, and what is to be said beside it."""

    data: bytes
    beside: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Offer:
    """A paper that can be made: its label, its stem and forms (the first is the usual one), what it holds."""

    name: str
    label: str
    stem: str
    forms: tuple[Form, ...]
    holds: str
    kind: Callable[[Form], Kind | None]
    make: Callable[[Form, Edge], Paper]

    def file(self, form: Form | None = None) -> str:
        """Return the file name that is proposed."""
        return f"{self.stem}.{form or self.forms[0]}"

    def form_of(self, file: str) -> Form:
        """Return the form that a file name asks for by its extension; refuses one that this paper has not."""
        ending = file.rpartition(".")[2].lower() if "." in file else ""
        form = next((one for one in self.forms if one == ending), None)
        if form is None:
            wanted = " or ".join(f".{one}" for one in self.forms)
            raise refused(self.label, repr(file), f"a name that ends in {wanted}", "type the extension")
        return form


def offers(ground: Ground) -> tuple[Offer, ...]:
    """Return the papers of a child in the order of the screen: for the team, for the family, of each sheet, as data."""
    return (*_documents(ground), *_calendars(ground), *_sheets(ground), *_data(ground))


def _documents(ground: Ground) -> Iterator[Offer]:
    rules, child = ground.protocol, ground.child

    def summary(form: Form, edge: Edge) -> Paper:
        made = papers.summary(edge.compared(), rules, edge.accepted(), kept=edge.accepts)
        return Paper(papers.in_form(made, papers.summary_kind(form)))

    def handout(form: Form, edge: Edge) -> Paper:
        made = papers.handout(edge.compared(), rules, papers.words_in(ground.language, rules))
        return Paper(papers.in_form(made, papers.handout_kind(form)))

    holds = "the plan on one page for the team's file, with the revision that was accepted"
    yield Offer("summary", "Summary", f"{child}-summary", papers.SUMMARY, holds, papers.summary_kind, summary)
    holds = "the years ahead in plain words, to take home, in the language chosen below"
    stem = f"{child}-handout-{ground.language}"
    yield Offer("handout", "Family handout", stem, papers.HANDOUT, holds, papers.handout_kind, handout)


def _calendars(ground: Ground) -> Iterator[Offer]:
    holds = "the steps and the visits around them for a phone's calendar, in the language chosen below"
    stem, make = f"{ground.child}-calendar", partial(_calendar, ground)
    yield Offer("calendar", "Calendar", stem, ("ics",), holds, _calendar_kind, partial(make, {}))
    for sheet in ground.sheets:
        if sheet.kind == LENGTHENING and sheet.case.stage is not None:
            label = f"Calendar with the days of {lower_first(sheet.case.stage.label)}"
            more = f"{holds}; with every day of turning by its worksheet as it is set now ({_set(sheet)})"
            with_days, its = partial(make, {sheet.stage: sheet.typed}), f"{stem}-{sheet.stage}"
            yield Offer(f"calendar.{sheet.stage}", label, its, ("ics",), more, _calendar_kind, with_days)


def _calendar(ground: Ground, settings: Mapping[str, Mapping[str, str]], _form: Form, edge: Edge) -> Paper:
    words = papers.words_in(ground.language, ground.protocol)
    before = None if edge.earlier is None else papers.earlier_entries(edge.earlier, "the calendar that is there")
    made = papers.calendar(ground.plan, ground.question, words, edge.moment, settings, before)
    return Paper(made.data, made.beside)


def _calendar_kind(_form: Form) -> Kind:
    return CALENDAR


def _sheets(ground: Ground) -> Iterator[Offer]:
    for sheet in ground.sheets:
        yield from _of_sheet(ground, sheet, f"as it stands on its screen ({_set(sheet)})")
    opened = {sheet.stage for sheet in ground.sheets}
    if ground.stage is not None and ground.stage.id not in opened:
        kind = kind_for(ground.stage, ground.protocol)
        if kind is not None:
            yield from _of_sheet(ground, _AsPlanned(kind, ground.stage), "as planned, nothing set by hand")


@dataclass(frozen=True, slots=True)
class _AsPlanned:
    """The worksheet of a stage that was not opened: it is made when it is written."""

    kind: SheetKind
    of: PlanStage


def _of_sheet(ground: Ground, sheet: SheetAsSet | _AsPlanned, how: str) -> Iterator[Offer]:
    stage = sheet.case.stage if isinstance(sheet, SheetAsSet) else sheet.of
    name, what = (AXIS, "axis of the leg") if stage is None else (stage.id, lower_first(stage.label))
    make = partial(_sheet, ground, sheet)
    stem = f"{ground.child}-worksheet-{name}"
    holds = f"the numbers of the worksheet, {how}"
    yield Offer(f"worksheet.{name}", f"Worksheet, {what}", stem, ("txt",), holds, _sheet_kind, make)
    if sheet.kind == OSTEOTOMY:
        stem, holds = f"{ground.child}-theatre-{name}", f"the page for the operating table of the worksheet {how}"
        page = partial(_theatre, ground, sheet)
        forms: tuple[Form, ...] = ("pdf", "html", "md")  # life-size pictures alone are several files: a verb's
        yield Offer(f"theatre.{name}", f"For the table, {what}", stem, forms, holds, papers.theatre_kind, page)


def _sheet_kind(_form: Form) -> Kind:
    return papers.SHEET


def _sheet(ground: Ground, sheet: SheetAsSet | _AsPlanned, _form: Form, _edge: Edge) -> Paper:
    made = sheet.sheet if isinstance(sheet, SheetAsSet) else KINDS[sheet.kind].make(_case(ground, sheet), {})
    return Paper(papers.sheet_text(made, ground.question.record.child.note))


def _theatre(ground: Ground, sheet: SheetAsSet | _AsPlanned, form: Form, _edge: Edge) -> Paper:
    from pathway.views.documents.theatre_page import missing_sizes, page_of
    from pathway.worksheets.osteotomy import given_of

    typed = sheet.typed if isinstance(sheet, SheetAsSet) else {}
    given = given_of(_case(ground, sheet), typed)
    if missing := missing_sizes(given):
        sizes = ", ".join(label for _, label in missing)
        do = "type them into their lines on the worksheet"
        raise CannotBeDone(Problem(ground.child, "", None, f"sizes of the bone not measured ({sizes})", "all", do))
    return Paper(papers.in_form(page_of(given), papers.theatre_kind(form)))


def _case(ground: Ground, sheet: SheetAsSet | _AsPlanned) -> Case:
    if isinstance(sheet, SheetAsSet):
        return sheet.case
    from pathway.worksheets.of_plan import sheet_case

    return sheet_case(ground.question, ground.plan, sheet.of)


def _set(sheet: SheetAsSet) -> str:
    count = len(sheet.typed)
    return "nothing set by hand" if not count else f"{count} {'input' if count == 1 else 'inputs'} set by hand"


def _data(ground: Ground) -> Iterator[Offer]:
    question, child = ground.question, ground.child

    def record(_form: Form, edge: Edge) -> Paper:
        if not papers.has_fhir():
            do = "ask whoever installed the program for: pip install 'limb-pathway[fhir]'"
            raise CannotBeDone(Problem("", "", None, "no FHIR models", "the extra `fhir`", do))
        made = papers.record_document(ground.plan, question.record, question.protocol, edge.moment)
        return Paper(made.encode())

    def case(_form: Form, _edge: Edge) -> Paper:
        return Paper(case_text(question.record).encode())

    holds = "findings and plan for the hospital's record system (FHIR R4); no birth date, no note"
    yield Offer("record", "Document for a record system", f"{child}-record", ("json",), holds, _record_kind, record)
    holds = "all that is known of the child, to plan it elsewhere; never written over a file that is there"
    stem = f"{child}-case-{question.on}"
    yield Offer("case", "Case file", stem, ("toml",), holds, _no_kind, case)


def _record_kind(_form: Form) -> Kind:
    return FHIR_PLAN


def _no_kind(_form: Form) -> None:
    return None
