"""Export: the papers of a child with their file names and where they go; Enter writes the one chosen."""

from __future__ import annotations

import functools
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Container
from textual.message import Message
from textual.widgets import Input as TextLine

from pathway.plan.model import Plan
from pathway.views.pictures.picture import Role
from pathway.views.words.paragraphs import Paragraph
from pathway.views.words.wording import languages
from tui import keys
from tui.export.going_out import Answer, Wanted, answer_to
from tui.export.offers import Edge, Ground, Offer, offers
from tui.followup.form_field import Field
from tui.followup.options import Option, Unclear, chosen
from tui.opened import ChildList
from tui.screens.form_screen import FormScreen
from tui.widgets import frame
from tui.widgets.form import Form
from tui.widgets.prose import Prose

FOLDER, LANGUAGE = "folder", "language"
LANGUAGES = {"de": "German", "en": "English"}
NO_PLAN = "There is no plan of this child, so there is nothing to export; its timeline says why. Escape goes back."
NOT_YET = "The plan is being made; the papers appear with it."
AGAIN = "Press Enter again to replace it, or type another name."
MAKING = "Making {file} …"
WHERE = "Nothing is written until you press Enter on a paper. Others on this machine cannot read the files."
IN_BROWSER = "Enter on a paper hands it to your browser, which keeps it among its downloads."
UNSAVED = "What is not saved yet is in the papers too."


class ExportScreen(FormScreen):
    """Papers on one side, what each holds and what became of it on the other."""

    BINDINGS: ClassVar[list[BindingType]] = [*keys.EXPORTING]
    RESULT = "#became"
    DEFAULT_CSS = """
    ExportScreen Form { height: 13; width: 100%; }
    ExportScreen #became { height: 1fr; padding: 0 1; }
    ExportScreen.wide Form { width: 60%; max-width: 84; height: 100%; padding: 1 0; }
    ExportScreen.wide Choices { height: auto; max-height: 70%; }
    ExportScreen.wide #asked { padding: 1 1 0 1; }
    ExportScreen.wide #became { height: 100%; width: 1fr; padding: 1 2; }
    """

    class Answered(Message):
        """What became of a paper that was asked for."""

        def __init__(self, answer: Answer) -> None:
            self.answer = answer
            super().__init__()

    def __init__(self, child: str, stage: str | None = None, paper: str = "") -> None:
        super().__init__(child, stage)
        self._paper = paper
        self._offers: tuple[Offer, ...] = ()
        self._asked: Wanted | None = None
        self._became: list[Paragraph] = []
        self._compared: Plan | None = None

    def compose(self) -> ComposeResult:
        """Lay out title, caution, papers, what became of them, keys."""
        yield frame.Title(f"{self.child}: export")
        yield frame.Caution()
        yield frame.Notice(id="notice")
        with Container(id="body"):
            yield Form(id="papers")
            yield Prose(id="became", focus=False)
        yield frame.keys()

    def on_mount(self) -> None:
        """Show the papers; the first one is chosen."""
        self.query_one(TextLine).focus()
        self.news()
        self._begin()

    def children_changed(self, child_list: ChildList, name: str | None) -> None:
        """Offer the papers of the plan as it is now."""
        if name == self.child and self.news():
            self._compared = None
            self._begin()

    def _begin(self) -> None:
        ground = self._ground_now()
        notice, form = self.query_one(frame.Notice), self.query_one(Form)
        if ground is None:
            entry = self.home.child_list[self.child]
            notice.say(NOT_YET if entry.waiting else NO_PLAN)
            form.open(())
            self.query_one(Prose).say(())
            return
        notice.say("")
        self._offers = offers(ground)
        first = (one.name for one in self._offers if self._paper and one.name.startswith(self._paper))
        if form.chosen is None:
            form.open(tuple(self._fields()), next(first, self._offers[0].name))
        else:
            form.offer(tuple(self._fields()))
        self._say()
        self.refresh_bindings()

    def _ground_now(self) -> Ground | None:
        session, rules = self.home.child_list[self.child].session, self.home.rules
        if session is None or session.plan is None or rules is None:
            return None
        question = self.home.question(self.child, session.record, rules)
        sheets = tuple(one for one in self.home.sheets_set(self.child) if one.holds_for(session.record))
        stage = next((one for one in session.plan.stages if one.id == self.stage), None)
        return Ground(question, session.plan, sheets, stage, self._language)

    @property
    def _language(self) -> str:
        try:
            return chosen(self.typed.get(LANGUAGE, ""), _languages()).value if LANGUAGE in self.typed else "en"
        except Unclear:
            return "en"

    def _fields(self) -> Iterator[Field]:
        for offer in self._offers:
            names = tuple(Option(offer.file(form), offer.file(form)) for form in offer.forms)
            wanted = f"{offer.holds[0].upper()}{offer.holds[1:]}"
            yield self._field(offer.name, offer.label, offer.file(), wanted, names if len(names) > 1 else ())
        if not self.home.around.in_browser:
            at = self.home.export_folder or "."
            origin = "the current folder" if at == "." else "used last"
            words = "The folder that papers are written to; it has to be there"
            yield replace(self._field(FOLDER, "Folder", at, words), origin="" if FOLDER in self.typed else origin)
        words = "The language of handout and calendar; the summary and worksheets are in English"
        yield self._field(LANGUAGE, "Language", "English", words, _languages())

    def _field(self, name: str, label: str, offered: str, wanted: str, options: tuple[Option, ...] = ()) -> Field:
        typed = self.typed.get(name, "")
        return Field(name, label, typed, "", wanted, "", name in self.typed, options, offered=offered)

    def typed_anew(self, *, typing: bool = False) -> None:
        """Offer the papers under the names as typed; what was asked for before is forgotten."""
        self._asked = None
        ground = self._ground_now()
        if ground is None:
            return
        self._offers = offers(ground)
        form = self.query_one(Form)
        form.offer(tuple(self._fields()), typing=typing)
        form.complain(self._wrong(form.chosen.name if form.chosen else ""))
        self.query_one(frame.Notice).say("")

    def _wrong(self, name: str) -> str:
        if name == LANGUAGE and LANGUAGE in self.typed:
            try:
                chosen(self.typed[LANGUAGE], _languages())
            except Unclear as error:
                return str(error)
        return ""

    def action_field(self, by: int) -> None:
        """Choose the paper before or after."""
        super().action_field(by)
        self.refresh_bindings()

    def action_option(self) -> None:
        """Take the next form of the paper, or the next language."""
        self.query_one(Form).next_option()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Return whether an action can be done now: a paper is chosen, a field has choices."""
        field = self.query_one(Form).chosen if self.is_mounted else None
        if action == "page":
            prose = self.query_one(Prose) if self.is_mounted else None
            return prose is not None and len(prose.lines) > prose.size.height
        if action == "write":
            return field is not None
        if action == "option":
            return field is not None and bool(field.options)
        return super().check_action(action, parameters)

    def action_write(self) -> None:
        """Write the paper chosen; on another field go on to the next one."""
        form = self.query_one(Form)
        field = form.chosen
        offer = None if field is None else next((one for one in self._offers if one.name == field.name), None)
        if offer is None or field is None:
            form.choose((form.place + 1) % max(1, len(form.fields)))
            return
        folder = None if self.home.around.in_browser else Path(self._folder).expanduser()
        inputs = () if self.home.storage is None else self.home.storage.inputs
        wanted = Wanted(offer, field.value or field.offered, folder, inputs=inputs)
        self._ask(replace(wanted, replace=self._asked == wanted))

    @property
    def _folder(self) -> str:
        return self.typed.get(FOLDER, "") or self.home.export_folder or "."

    def _ask(self, wanted: Wanted) -> None:
        ground = self._ground_now()
        if ground is not None:
            self.query_one(frame.Notice).say("")
            self._say(MAKING.format(file=wanted.file))
            self._make(wanted, ground)

    @work(thread=True, exit_on_error=False)
    def _make(self, wanted: Wanted, ground: Ground) -> None:
        storage, child = self.home.storage, self.child
        edge = Edge(
            self.home.around.now().replace(microsecond=0),
            functools.partial(self._whole_plan, ground),
            lambda: None if storage is None else storage.accepted(child),
            storage is not None and storage.plans is not None,
        )
        self.post_message(self.Answered(answer_to(wanted, edge)))

    def _whole_plan(self, ground: Ground) -> Plan:
        """Return the plan with the courses that it is compared with: summary and handout tell of them."""
        entry = self.home.child_list[self.child]
        if entry.compared and entry.session is not None and entry.session.plan is ground.plan:
            return ground.plan
        if self._compared is None:
            from pathway.plan.make import make_plan

            self._compared = make_plan(ground.question)
        return self._compared

    def on_export_screen_answered(self, event: Answered) -> None:
        """Say what became of a paper; ask where an earlier one would be replaced."""
        answer = event.answer
        if answer.state == "asked":
            self._asked = replace(answer.wanted, replace=False)
            self.query_one(frame.Notice).say(f"{answer.said[0]} {AGAIN}")
        elif answer.state == "refused":
            self._became.append(Paragraph(f"Not written: {' '.join(answer.said)}", role=Role.STAGE_BLOCKED))
        elif answer.state == "made":
            self.home.hand_over(answer.wanted.file, answer.data)
            said = (f"{answer.wanted.file} is handed to the browser …", *answer.said)
            self._became += [Paragraph(words, role=Role.STAGE_DONE) for words in said]
        else:
            self._asked = None
            self.home.export_folder = self._folder
            first, *beside = answer.said
            self._became.append(Paragraph(first, role=Role.STAGE_DONE))
            self._became += [Paragraph(words, 1, Role.STAGE_READY) for words in beside]
        self._say()

    def handed_over(self, file: str, fault: str = "") -> None:
        """Say that the browser has a file, or why it has not."""
        said = f"{file}: not taken by the browser ({fault})." if fault else f"{file} is with the browser now."
        self._became.append(Paragraph(said, role=Role.STAGE_BLOCKED if fault else Role.STAGE_DONE))
        self._say()

    def _say(self, working: str = "") -> None:
        prose = self.query_one(Prose)
        said = [*reversed(self._became)]
        if working:
            said.insert(0, Paragraph(working, role=Role.LEGEND))
        unsaved = self.home.child_list[self.child].unsaved and self.home.storage is not None
        where = IN_BROWSER if self.home.around.in_browser else WHERE
        prose.say((*said, Paragraph(f"{where} {UNSAVED}" if unsaved else where, role=Role.LEGEND)))
        self.refresh_bindings()


def _languages() -> tuple[Option, ...]:
    return tuple(Option(code, LANGUAGES.get(code, code)) for code in languages())
