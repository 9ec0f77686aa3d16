"""What if: wishes tried out; the answer comes while one types, nothing is saved until they are kept."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from typing import ClassVar, TypeVar

from textual import work
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Container
from textual.message import Message
from textual.widgets import Input as TextLine

from pathway.preferences import PREFERENCE_LABELS, PREFERENCES
from pathway.preferences import wishes_of as recorded_wishes
from pathway.protocol.words import lower_first
from pathway.questions import decisions
from pathway.questions.what_if import Answer, WhatIf
from pathway.views.pictures.course_cards import facts
from pathway.views.pictures.picture import Role
from pathway.views.words.paragraphs import Paragraph
from tui import keys, planner
from tui.followup.form_field import Field
from tui.followup.options import Option, Unclear, chosen
from tui.screens.form_screen import FormScreen
from tui.screens.reason import ReasonScreen, Who
from tui.widgets import frame
from tui.widgets.form import Form
from tui.widgets.prose import Prose

TO_CORRECT = "There is no answer to a wish that is not clear yet: correct it below its line."
RECORDED = "in the record"
STANDS = "the record holds this wish: what is tried here is added to it, and takes it back no more than an empty line"
YES_NO = (Option("yes", "yes"), Option("no", "no"))
MOST_LENGTHENINGS, HIGHEST_LIFT_CM = 9, 30


N = TypeVar("N", int, float)


class Wrong(Exception):
    """What was typed cannot be a wish; the sentence says what is expected."""


class WhatIfScreen(FormScreen):
    """Wishes on one side, the answer on the other."""

    BINDINGS: ClassVar[list[BindingType]] = [*keys.WHAT_IF]
    HELP_HEAD = "What if"
    RESULT = "#answer"
    DEFAULT_CSS = """
    WhatIfScreen Form { height: 11; width: 100%; }
    WhatIfScreen #answer { height: 1fr; padding: 0 1; }
    WhatIfScreen.wide Form { width: 46; height: 100%; padding: 1 0; }
    WhatIfScreen.wide #answer { height: 100%; width: 1fr; padding: 1 2; }
    """

    class Answered(Message):
        """The plan under the wishes is there, or the sentences that say why there is none."""

        def __init__(self, asked: WhatIf, answer: Answer | tuple[str, ...]) -> None:
            self.asked = asked
            self.answer = answer
            super().__init__()

    def __init__(self, child: str) -> None:
        super().__init__(child)
        self.asked = WhatIf()

    def compose(self) -> ComposeResult:
        """Lay out title, caution, wishes, answer, keys."""
        yield frame.Title(f"{self.child}: what if")
        yield frame.Caution()
        yield frame.Notice(id="notice", calm=True)
        with Container(id="body"):
            yield Form(id="wishes")
            yield Prose(id="answer", focus=False)
        yield frame.keys()

    def on_mount(self) -> None:
        """Show the wishes; typing goes to them."""
        self.query_one(TextLine).focus()
        self.query_one(Form).offer(tuple(self._fields()))
        self._say([Paragraph("Type a wish: the resulting plan is shown beside the plan as it stands."), _NOTHING])

    def _fields(self) -> Iterator[Field]:
        plan = self.plan
        yield self._field("lengthenings", "Most further lengthenings", "a whole number from 0 to 9")
        yield self._field("finish", "All devices off before", "a date such as 2031-09-01")
        yield self._lift()
        yield self._field("free", "No device on the bone", "two dates such as 2031-09-01..2032-06-30")
        for name, label in PREFERENCE_LABELS.items():
            yield self._field(name, label, "yes or no", options=YES_NO)
        kinds = (
            dict.fromkeys((s.kind, s.label.rstrip("0123456789 ")) for s in plan.stages if s.operation) if plan else {}
        )
        for kind, label in kinds:
            yield self._field(f"without:{kind}", f"Without {lower_first(label)}", "yes or no", options=YES_NO)

    def _lift(self) -> Field:
        field = self._field("lift", "A lift of at most", "cm from 0 to 30, or mm with its unit", "cm")
        try:
            return replace(field, means="" if (cm := _cm(field.value)) is None else f"{cm:g}")
        except Wrong:
            return field

    def _field(self, name: str, label: str, wanted: str, unit: str = "", options: tuple[Option, ...] = ()) -> Field:
        text, recorded = self.typed.get(name, ""), self._recorded().get(name, "")
        said = f"{wanted}; {STANDS if recorded else 'empty: no such wish'}"
        origin = "" if text or not recorded else RECORDED
        means = _means(text, options)
        return Field(name, label, text, unit, said, origin, name in self.typed, options, means, recorded)

    def _recorded(self) -> Mapping[str, str]:
        """Return the wishes that the record holds, by field: they stand until a later decision says otherwise."""
        session = self.home.child_list[self.child].session
        if session is None:
            return {}
        kept = recorded_wishes(session.record)
        found = {name: "yes" for name in PREFERENCES if name in kept.prefer}
        found |= {f"without:{kind}": "yes" for kind in kept.declined}
        if kept.at_most_lengthenings is not None:
            found["lengthenings"] = str(kept.at_most_lengthenings)
        if kept.finish_before is not None:
            found["finish"] = str(kept.finish_before)
        if kept.lift_at_most_mm is not None:
            found["lift"] = f"{kept.lift_at_most_mm / 10:g}"
        if kept.device_free:
            found["free"] = "; ".join(f"{start}..{end}" for start, end in kept.device_free)
        return found

    def typed_anew(self, *, typing: bool = False) -> None:
        """Ask anew under the wishes as they stand."""
        form = self.query_one(Form)
        form.offer(tuple(self._fields()), typing=typing)
        try:
            self.asked = wishes_of(self.typed)
        except Wrong as error:
            self.asked = WhatIf()
            form.complain(str(error))
            self._say([Paragraph(TO_CORRECT), _NOTHING])
            return
        form.complain("")
        session, rules = self.home.child_list[self.child].session, self.home.rules
        if not self.asked:
            self._say([_NOTHING])
        elif session is not None and rules is not None:
            self._say([Paragraph("Planning under these wishes …")])
            self._plan(self.asked)

    @work(thread=True, exclusive=True, exit_on_error=False)
    def _plan(self, asked: WhatIf) -> None:
        session, rules = self.home.child_list[self.child].session, self.home.rules
        if session is not None and rules is not None:
            question = self.home.question(self.child, session.record, rules)
            self.post_message(self.Answered(asked, planner.ask(question, asked)))

    def on_what_if_screen_answered(self, event: Answered) -> None:
        """Show the answer to the wishes as they stand; an older one is dropped."""
        if event.asked != self.asked:
            return
        answer = event.answer
        self._say([Paragraph(text) for text in answer] if isinstance(answer, tuple) else list(_said(answer)))

    def _say(self, said: list[Paragraph]) -> None:
        self.query_one("#answer", Prose).say(said)

    def action_keep(self) -> None:
        """Ask for the reason; then the wishes stand in the record and the plan follows them."""
        session = self.home.child_list[self.child].session
        if session is None or not self.asked:
            return
        record, asked, on = session.record, self.asked, self.home.on

        def decide(reason: str, who: Who) -> None:
            sentence, events = decisions.keep_wishes(record, asked, reason, who, on)
            self.home.go_back()
            self.home.edit(self.child, sentence, events)

        words = ("Keep these wishes", *(f"{f.label}: {f.value} {f.unit}".rstrip() for f in self._fields() if f.value))
        self.home.push_screen(ReasonScreen(f"{self.child}: keep wishes", words, decide))


_NOTHING = Paragraph("Nothing is saved. F5 keeps the wishes in the record, with a reason.", role=Role.LEGEND)


def wishes_of(typed: Mapping[str, str]) -> WhatIf:
    """Return the wishes that were typed by field; raises Wrong with a sentence for one that cannot be."""
    start_end = _span(typed["free"]) if "free" in typed else None
    return WhatIf(
        without=tuple(n.removeprefix("without:") for n, t in typed.items() if n.startswith("without:") and _yes(t)),
        at_most_lengthenings=_number(typed.get("lengthenings"), int, MOST_LENGTHENINGS),
        not_in=(start_end,) if start_end else (),
        finish_before=_day(typed["finish"]) if "finish" in typed else None,
        lift_at_most_mm=None if (cm := _cm(typed.get("lift", ""))) is None else round(10 * cm, 6),
        prefer=tuple(name for name in PREFERENCES if name in typed and _yes(typed[name])),
    )


def _number(text: str | None, kind: Callable[[str], N], most: int) -> N | None:
    if text is None:
        return None
    try:
        value = kind(text)
    except ValueError:
        raise Wrong(f"found {text!r}, expected a number from 0 to {most}; correct it") from None
    if not 0 <= value <= most:
        raise Wrong(f"found {text}, expected a number from 0 to {most}; correct it")
    return value


def _cm(text: str) -> float | None:
    """Return the height of a lift in cm, None where none is typed; a number without a unit is cm."""
    low = text.strip().lower()
    if low.endswith("mm"):
        mm = _number(low.removesuffix("mm").strip(), float, 10 * HIGHEST_LIFT_CM)
        return None if mm is None else mm / 10
    return _number(low.removesuffix("cm").strip() or None, float, HIGHEST_LIFT_CM)


def _means(text: str, options: tuple[Option, ...]) -> str:
    try:
        return chosen(text, options).words if text.strip() and options else ""
    except Unclear:
        return ""


def _yes(text: str) -> bool:
    if text.lower() in ("yes", "y", "no", "n"):
        return text.lower().startswith("y")
    raise Wrong(f"found {text!r}, expected yes or no; correct it")


def _day(text: str) -> datetime.date:
    try:
        return datetime.date.fromisoformat(text)
    except ValueError:
        raise Wrong(f"found {text!r}, expected a date such as 2031-09-01; type it in full") from None


def _span(text: str) -> tuple[datetime.date, datetime.date]:
    first, dots, last = text.partition("..")
    if not dots:
        raise Wrong(f"found {text!r}, expected two dates such as 2031-09-01..2032-06-30; type both")
    start, end = _day(first.strip()), _day(last.strip())
    if end < start:
        raise Wrong(f"found {text!r}, expected the later date last; swap them")
    return start, end


def _said(answer: Answer) -> Iterator[Paragraph]:
    yield Paragraph(f"What if: {'; '.join(answer.asked)}", heading=True)
    for sentence in answer.differences:
        yield Paragraph(sentence, depth=1)
    yield Paragraph("")
    now, then = answer.as_it_stands.recommended, answer.wished.recommended
    if now is not None and then is not None:
        yield Paragraph("As it stands  →  under these wishes", heading=True)
        after = dict(facts(answer.wished, then))
        for label, words in facts(answer.as_it_stands, now):
            changed = after.get(label, "-")
            role = Role.TEXT if changed == words else Role.STAGE_READY
            yield Paragraph(f"{label.strip():<18} {words}" + ("" if changed == words else f"  →  {changed}"), 1, role)
        yield Paragraph("")
    for text in answer.wished.notices:
        yield Paragraph(text)
    for conflict in answer.wished.conflicts:
        yield Paragraph(f"Cannot be planned: {conflict.explanation}", role=Role.STAGE_BLOCKED)
    yield _NOTHING
