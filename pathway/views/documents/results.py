"""A clinic's own results as a document: printed as text, and written as a page for the team."""

from __future__ import annotations

import datetime
from collections.abc import Iterator

from pathway.results.clinic import Results
from pathway.risk.terms import SLOPE
from pathway.views.documents.document import Block, Bullets, Callout, Document, Heading, Paragraph, Table
from pathway.views.words import results as words
from pathway.views.words.caution import CAUTION

NOTHING = (
    "No plan was accepted yet, so that nothing can be held against what came. Accept the plan that family and team "
    "agree on with `limb-pathway accept CASE`, and enter later visits as they come."
)
FILM_NOTE = (
    "Bands are those of the revision, widened by the error of reading the film of the visit. Between two days of a "
    "revision they run straight."
)


def results_document(found: Results, on: datetime.date) -> Document:
    """Return a clinic's own results as a document for the team, in English."""
    footer = f"Own results up to {on} · {CAUTION}"
    return Document(words.TITLE, f"Up to {on}: {words.about(found)}", "en", footer, tuple(_blocks(found)), dense=True)


def _blocks(found: Results) -> Iterator[Block]:
    yield Callout("", (f"{CAUTION}.",))
    if not found.accepted and not found.lengthenings:
        yield Paragraph(NOTHING)
        return
    yield Paragraph(words.RUNS_FORWARD)
    terms = {"interval": found.interval_percent, "found": found.found_percent, "star": words.STAR}
    yield Paragraph(words.HOW.format(**terms), "small")
    if found.accepted < found.least_children:
        told = words.TOO_FEW.format(
            children=words.count_words(found.accepted, "child", "children"), least=found.least_children
        )
        yield Callout("Too few children for a rate", (told,))
    yield Paragraph(words.left_sentence(found))
    yield from _differences(found)
    yield from _chances(found)
    yield Heading("Growth arrests: stated and seen effect")
    yield Paragraph(words.effect_sentence(found))
    yield from _lengthenings(found)
    yield from _harms(found)
    yield from _refitted(found)
    yield from _waived(found)
    yield Heading("Days from due to done")
    yield Bullets(tuple(words.waits_sentences(found.waits, found.least_children)))
    yield from _each(found)
    yield Paragraph(words.NO_RANKS, "small")


def _differences(found: Results) -> Iterator[Block]:
    yield Heading("Differences in length: predicted and seen")
    if found.predicted:
        rows = tuple(
            (
                "all" if one.of == "all" else f"{one.of}: {words.BETWEEN.get(one.group, one.group)}",
                str(one.children),
                str(one.visits),
                words.mean_words(one.off_mm, found.least_children, mark=one.of == "all"),
                words.share_words(one.within_50, counts=False),
                words.share_words(one.within_90, counts=False),
            )
            for one in found.predicted
        )
        head = ("group", "children", "visits", "seen less predicted", "in the 50 % band", "in the 90 % band")
        yield Table("Predicted and seen", head, rows, (24, 9, 8, 22, 19, 19))
        yield Paragraph(FILM_NOTE, "small")
        yield Bullets((words.sides_sentence(found), words.legs_sentence(found)))
    else:
        yield Paragraph("No later visit can be held against an accepted plan yet.")
    if found.not_compared:
        told = tuple(
            f"{words.count_words(one.pairs, 'plan with a later visit', 'plans with a later visit')} not compared: "
            f"{words.WHY[one.why]}."
            for one in found.not_compared
        )
        yield Bullets(told, small=True)
    if found.without_later_visit:
        some = words.count_words(found.without_later_visit, "child", "children")
        yield Paragraph(f"{some} with an accepted plan and no visit after it.", "small")


def _chances(found: Results) -> Iterator[Block]:
    yield Heading("Stated chance for the end of growth, and what came")
    rows = tuple(
        (
            f"within {one.within_mm / 10:g} cm",
            words.stated_words(one),
            words.share_words(one.came, mark=bool(one.found)),
            words.open_words(one),
        )
        for one in found.chances
    )
    yield Table("Chances", ("legs end", "stated, mean", "came", "not counted"), rows, (14, 18, 34, 34))
    yield Paragraph(
        "Of each child the first accepted plan that states a chance, and its first length at maturity.", "small"
    )


def _lengthenings(found: Results) -> Iterator[Block]:
    yield Heading("Lengthenings: planned and achieved")
    if not found.lengthenings:
        yield Paragraph("None was entered yet.")
        return
    rows = tuple(
        (
            one.label,
            str(one.lengthenings),
            words.mean_words(one.gain_off_mm, found.least_children, mark=True),
            words.mean_words(one.months_off, found.least_children, "months", mark=True),
        )
        for one in found.lengthenings
    )
    head = ("lengthening", "number", "achieved less planned", "time in device less planned")
    yield Table("Lengthenings", head, rows, (26, 10, 32, 32))


def _harms(found: Results) -> Iterator[Block]:
    yield Heading("What went wrong: stated and recorded")
    if found.harms:
        rows = tuple(
            (
                one.label,
                words.published_words(one),
                words.share_words(one.came, mark=bool(one.found)),
                words.uncounted_words(one),
            )
            for one in found.harms
        )
        head = ("at a lengthening", "published, as stated", "recorded here", "not counted")
        yield Table("Harms", head, rows, (26, 24, 28, 22))
    events = "; ".join(f"{one.complication.replace('_', ' ')} {one.operations}" for one in found.events)
    told = (
        f"Operations with each complication that was recorded: {events}." if events else "No complication is recorded."
    )
    yield Paragraph(told)
    yield Paragraph("What nobody recorded was not counted: few events may mean few entries.", "small")


def _refitted(found: Results) -> Iterator[Block]:
    model = found.refitted
    if model is None:
        return
    yield Heading("Risk by amount, with own lengthenings beside print")
    yield Paragraph(words.refit_note(model), "small")
    if not model.coefficients:
        return
    rows = []
    for one in model.coefficients:
        told = words.slope_words if one.name == SLOPE else words.rate_words
        name = one.name.removeprefix("rate:").replace("_", " ")
        rows.append(
            (
                f"{model.step_percent:g} % more of the bone: events" if one.name == SLOPE else name,
                told(one.published, one.published_low, one.published_high),
                told(one.with_own, one.with_own_low, one.with_own_high),
            )
        )
    yield Table("Risk by amount", ("of a typical team", "print", "print and own"), tuple(rows), (32, 34, 34))


def _waived(found: Results) -> Iterator[Block]:
    yield Heading("Gates that were waived, and what followed")
    if not found.waived:
        yield Paragraph("No accepted plan waived a gate.")
        return
    rows = tuple((one.gate, one.stage, str(one.waived), str(one.done), str(one.with_event)) for one in found.waived)
    yield Table("Waived gates", ("gate", "stage", "waived", "then done", "with an event"), rows, (34, 26, 12, 13, 15))


def _each(found: Results) -> Iterator[Block]:
    if not found.each:
        return
    yield Heading("Every accepted plan beside every later visit")
    rows = tuple(
        (
            f"{one.child}, plan {one.revision}",
            str(one.stated_on),
            str(one.seen_on),
            f"{one.predicted_mm:.0f} ({one.low_mm:.0f} to {one.high_mm:.0f})",
            f"{one.seen_mm:.0f}",
            f"{one.off_mm:+.0f}",
        )
        for one in found.each
    )
    head = ("child and plan", "planned", "seen", "predicted, mm (90 %)", "seen, mm", "off, mm")
    yield Table("Each", head, rows, (26, 14, 14, 24, 11, 11))
