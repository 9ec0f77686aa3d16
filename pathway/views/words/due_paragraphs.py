"""What one child needs as paragraphs for a screen; apart from the lines of the verb, which load no plan."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from pathway.questions.due import Due
from pathway.views.pictures.picture import Role
from pathway.views.words.due import MONTHS_AHEAD, NOTHING
from pathway.views.words.paragraphs import Paragraph


def due_paragraphs(needed: Sequence[Due]) -> Iterator[Paragraph]:
    """Yield what is overdue, then what is needed in the months to come, each with its day."""
    late, coming = [one for one in needed if one.overdue], [one for one in needed if not one.overdue]
    if late:
        yield Paragraph("Overdue", heading=True, role=Role.STAGE_BLOCKED)
        yield from (Paragraph(f"{one.by}  {one.what}", 1, Role.STAGE_BLOCKED) for one in late)
        yield Paragraph("")
    yield Paragraph(f"In the next {MONTHS_AHEAD} months", heading=True)
    yield from (Paragraph(f"{one.by}  {one.what}", 1) for one in coming)
    if not coming:
        yield Paragraph(NOTHING, 1)
