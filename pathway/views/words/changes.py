"""What a follow-up or another day changes in a plan, as printed text."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from pathway.plan.model import Plan
from pathway.protocol.words import lower_first
from pathway.questions.compare import differences
from pathway.questions.followup import Preview
from pathway.views.pictures.picture import Role
from pathway.views.words.carried_out import carried_out_words
from pathway.views.words.caution import caution
from pathway.views.words.paragraphs import Paragraph
from pathway.views.words.plan import local_lines

ESSENTIALS = "What matters most"


def changes_text(preview: Preview, width: int = 80) -> str:
    """Return what was entered and what it changes, each change with its cause, at most `width` columns wide."""
    return "\n".join(_lines(preview, width)) + "\n"


def new_notices(preview: Preview) -> tuple[str, ...]:
    """Return the notices of the plan after, which the plan before did not have."""
    return tuple(text for text in preview.after.notices if text not in set(preview.before.notices))


def essentials(before: Plan, after: Plan) -> Iterator[str]:
    """Yield the few changes that matter: what was done, the course, the next operation, the first last day.

    Nothing of what is the same in both.
    """
    done = tuple(carried_out_words(before, after))
    yield from done[:1]
    yield from (one.sentence for one in differences(before, after) if one.kind == "course")
    then, now = _next(before), _next(after)
    if then != now:
        yield f"Next operation: {now} (it was: {then})."
    then, now = _first_last_day(before), _first_last_day(after)
    if then != now:
        yield f"First last day: {now} (it was: {then})."


def _next(plan: Plan) -> str:
    coming = [one for one in plan.stages if one.operation and not one.begun and one.date is not None]
    first = min(coming, key=lambda one: one.date or plan.on, default=None)
    return "none has a date" if first is None else f"{lower_first(first.label)} on {first.date}"


def _first_last_day(plan: Plan) -> str:
    """Return the first day after which an operation to come can no longer be done as planned."""
    last = [
        (one.window.latest, one.label)
        for one in plan.stages
        if one.operation and not one.begun and one.date is not None and one.window and one.window.latest
    ]
    if not last:
        return "none"
    day, label = min(last)
    return f"{lower_first(label)}, {day}"


def _lines(preview: Preview, width: int) -> Iterator[str]:
    before, after = preview.before, preview.after
    days = f"on {after.on}" if before.on == after.on else f"from {before.on} to {after.on}"
    yield from textwrap.wrap(f"What changes in the plan of {after.child.id} {days}", width)
    yield from textwrap.wrap(caution(after), width)
    yield from local_lines(after, width)
    if before.protocol.version != after.protocol.version:
        yield f"Rules: {before.protocol.version} → {after.protocol.version}"
    yield ""
    yield f"Entered: {len(preview.entered)} {'fact' if len(preview.entered) == 1 else 'facts'}"
    for words in preview.entered:
        yield from _wrap(words, width, "  ")
    for words in new_notices(preview):
        yield ""
        yield from _wrap(f"Notice: {words}", width, "")
    yield ""
    if not preview.changes:
        yield "Nothing changes in the plan."
        return
    if short := tuple(essentials(before, after)):
        yield ESSENTIALS
        for text in short:
            yield from _wrap(text, width, "  ")
        yield ""
    yield "Changes, grouped by the facts that caused them"
    causes = dict.fromkeys(change.because for change in preview.changes)
    for because in causes:
        yield ""
        yield from _wrap(f"Because of {'; '.join(because)}:", width, "  ")
        for change in preview.changes:
            if change.because == because:
                yield from _wrap(change.difference.sentence, width, "    ")


def _wrap(text: str, width: int, indent: str) -> list[str]:
    return textwrap.wrap(text, width, initial_indent=indent, subsequent_indent=indent + "  ")


def change_paragraphs(preview: Preview, unexplained: str) -> Iterator[Paragraph]:
    """Yield the changes below the facts that caused them; `unexplained` heads those whose facts are not known yet."""
    if not preview.changes:
        yield Paragraph("Nothing changes in the plan.", 1)
    elif short := tuple(essentials(preview.before, preview.after)):
        yield Paragraph(ESSENTIALS, heading=True)
        yield from (Paragraph(text, 1) for text in short)
        yield Paragraph("All changes, by what caused them", heading=True)
    for because in dict.fromkeys(change.because for change in preview.changes):
        yield Paragraph(f"Because of {'; '.join(because)}:" if because else unexplained, 1, Role.LEGEND)
        yield from (Paragraph(change.difference.sentence, 2) for change in preview.changes if change.because == because)
    yield from (Paragraph(f"Notice: {text}", 1) for text in new_notices(preview))
