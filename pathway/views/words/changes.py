"""What a follow-up or another day changes in a plan, as printed text."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from pathway.questions.followup import Preview
from pathway.views.words.caution import caution
from pathway.views.words.plan import local_lines


def changes_text(preview: Preview, width: int = 80) -> str:
    """Return what was entered and what it changes, each change with its cause, at most `width` columns wide."""
    return "\n".join(_lines(preview, width)) + "\n"


def new_notices(preview: Preview) -> tuple[str, ...]:
    """Return the notices of the plan after, which the plan before did not have."""
    return tuple(text for text in preview.after.notices if text not in set(preview.before.notices))


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
