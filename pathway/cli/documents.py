"""The verbs that write documents and pictures: `handout`, `summary`, `picture`. An edge."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pathway.children import papers
from pathway.cli.asked import Asked, child_verb, nothing_looked_for
from pathway.cli.errors import leave_with_conflicts, note, refuse
from pathway.cli.groups import Renamed
from pathway.cli.options import Output, output_options, plain_option
from pathway.cli.printing import show_with_headings, width, words_only
from pathway.files.kinds import Form, Kind, marked, marked_kind
from pathway.files.reading import read_text
from pathway.files.writing import Target, refuse_place, write_out
from pathway.problems import CannotBeDone, Problem

if TYPE_CHECKING:
    from pathway.plan.model import Plan
    from pathway.protocol.model import Protocol
    from pathway.views.documents.document import Document
    from pathway.views.documents.files import Paper
    from pathway.views.drawings.drawing import Drawing
    from pathway.views.words.wording import Wording

MOST_SHEETS = 6
MOST_WORDING_BYTES = 2_000_000
PICTURES = ("timeline", "growth", "graph")
FORMER = {"road": "timeline"}
paper_option = click.option("--paper", type=click.Choice(("a4", "letter")), default="a4", help="Page size of a PDF.")
language_option = click.option(
    "--language", default="en", metavar="CODE", help="Language of the text (de, en).", show_default=True
)
wording_option = click.option(
    "--wording",
    "own",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="A clinic's own wording (TOML), replacing ours text by text.",
)


@click.command()
@child_verb
@output_options(required=True, text="File to write; its extension sets the format.")
@paper_option
@language_option
@wording_option
@nothing_looked_for()
def handout(
    asked: Asked,
    out: Output,
    paper: Paper,
    language: str,
    own: Path | None,
) -> None:
    """Write the family's document: the years ahead in plain words (.pdf or .html)."""
    target = document_target(out, "handout", papers.HANDOUT, own, *asked.files)
    words = chosen_words(language, own, asked.protocol)
    write_document(papers.handout(asked.compared, asked.protocol, words), target, paper)
    leave_with_conflicts(asked.plan)


@click.command()
@child_verb
@output_options(required=True, text="File to write; its extension sets the format.")
@paper_option
@nothing_looked_for()
def summary(
    asked: Asked,
    out: Output,
    paper: Paper,
) -> None:
    """Write the team's document: the plan on one page for the file (.pdf, .html or .md).

    Of a child in the registry the page says which revision was accepted.
    """
    target = document_target(out, "summary", papers.SUMMARY, *asked.files)
    child = asked.child
    kept = child.origin == "registry"
    accepted = papers.accepted_plan(child.entries, child.registry_head, child.record.child.id) if kept else None
    write_document(papers.summary(asked.compared, asked.protocol, accepted, kept=kept), target, paper)
    leave_with_conflicts(asked.plan)


@click.command()
@child_verb
@click.option("--set", "settings", multiple=True, metavar="NAME=VALUE", help="Set an input by hand; may be repeated.")
@output_options(text="File to write; its extension sets the format; printed as text if not given.")
@paper_option
@plain_option
def theatre(
    asked: Asked,
    settings: tuple[str, ...],
    out: Output,
    paper: Paper,
    plain: bool,
) -> None:
    """Write or print an upper femur's page for the operating table: numbers, steps, stops, life-size views.

    As .pdf, .html, .md or .svg (a file for each sheet of paper), or as text. The inputs are those of `worksheet
    osteotomy`. A plan that is refused is said to be, and no steps are printed.
    """
    from pathway.cli.worksheet import by_name, case_for
    from pathway.views.documents.theatre_page import missing_sizes, page_of
    from pathway.worksheets.osteotomy import given_of

    place = None if out.file is None else document_target(out, papers.THEATRE_PAGE, papers.THEATRE, *asked.files)
    with nothing_looked_for():
        given = given_of(case_for("osteotomy", asked.question), by_name(settings))
    if missing := missing_sizes(given):
        do = "; ".join(f"--set {name}=…" for name, _ in missing)
        raise CannotBeDone(Problem(asked.name, "", None, "sizes of the bone that nobody measured", "all of them", do))
    document = page_of(given, drawn=place is not None)
    if place is None:
        from pathway.views.documents.terminal import document_text
        from pathway.worksheets.osteotomy.drawing import drawings

        sketches = () if given.model.found.refused else drawings(given)
        show_with_headings(document_text(document, width(), sketches, plain=words_only(plain)))
    elif place.form == "svg":
        _write_sheets(document, place, paper)
    else:
        write_document(document, place, paper)


@click.command()
@click.argument("which", type=Renamed(PICTURES, FORMER))
@child_verb
@output_options(required=True, text="File to write; its extension sets the format.")
@language_option
@wording_option
def picture(
    which: str,
    asked: Asked,
    out: Output,
    language: str,
    own: Path | None,
) -> None:
    """Write one picture of the plan: the timeline, the growth or the graph of prerequisites (.svg or .png)."""
    from pathway.views.documents.files import png
    from pathway.views.drawings.drawing import captioned
    from pathway.views.words.caution import caution

    target = document_target(out, f"picture of the {which}", ("svg", "png"), own, *asked.files)
    words = chosen_words(language, own, asked.protocol)
    drawing = _drawing(which, asked.plan, words, asked.protocol)
    if drawing is None:
        expected = "one visit with both legs measured"
        raise CannotBeDone(Problem(asked.name, "", None, "no leg length", expected, "nothing drawn"))
    drawing = captioned(drawing, caution(asked.plan))
    _save(target, drawing.svg().encode() if target.form == "svg" else png(drawing))
    leave_with_conflicts(asked.plan)


def _drawing(which: str, made: Plan, words: Wording, protocol: Protocol) -> Drawing | None:
    if which == "growth":
        from pathway.views.drawings.growth import growth_drawing

        return growth_drawing(made, words)
    if which == "graph":
        from pathway.views.drawings.prerequisites import graph_drawing

        return graph_drawing(made)
    from pathway.views.drawings.timeline import timeline_drawing

    return timeline_drawing(made, words, protocol, windows=True)


def chosen_words(language: str, own: Path | None, protocol: Protocol) -> Wording:
    """Return the words of a language with a clinic's file over them, for a child's rules."""
    text = (
        None if own is None else read_text(own, "a file of words (TOML)", MOST_WORDING_BYTES, missing="check --wording")
    )
    return papers.words_in(language, protocol, text, str(own))


@dataclass(frozen=True, slots=True)
class PaperPlace:
    """Where a document goes, in which form, as which kind."""

    target: Target
    form: Form
    kind: Kind


def document_target(out: Output, what: str, known: tuple[Form, ...], *inputs: Path | None) -> PaperPlace:
    """Return where a document goes; refuses an unknown extension and a place it may not go to, before any work."""
    assert out.file is not None
    ending = out.file.suffix.lower().removeprefix(".")
    form = next((one for one in known if one == ending), None)
    if form is None:
        wanted = " or ".join(f".{name}" for name in known)
        refuse("-o", repr(out.file.name), f"a name that ends in {wanted}", "add the extension")
    kind = marked_kind(what, form)
    target = out.to(kind, *inputs)
    refuse_place(target)
    return PaperPlace(target, form, kind)


def write_document(document: Document, place: PaperPlace, paper: Paper) -> None:
    """Write a document to its place, in the form that its name asks for."""
    _put(place, papers.in_form(document, place.kind, paper))


def _write_sheets(document: Document, place: PaperPlace, paper: Paper) -> None:
    """Write each sheet of paper as a file of its own, numbered where there are several; none where one may not be."""
    from pathway.views.documents.files import pages_svg

    sheets = pages_svg(document, paper)
    file = place.target.file
    names = [file.with_stem(f"{file.stem}-{number}") for number in range(1, len(sheets) + 1)]
    targets = [replace(place.target, file=name) for name in names] if len(sheets) > 1 else [place.target]
    for target in targets:
        refuse_place(target)
    for target, sheet in zip(targets, sheets, strict=True):
        write_out(target, marked(sheet.encode(), place.kind))
    note(f"Wrote {', '.join(str(target.file) for target in targets)}.")
    written = {target.file for target in targets}
    known = (file, *(file.with_stem(f"{file.stem}-{number}") for number in range(1, len(sheets) + MOST_SHEETS)))
    others = [one for one in known if one not in written and one.exists()]
    if others:
        note(f"{', '.join(map(str, others))} is of an earlier page: do not use it beside these.")


def _save(place: PaperPlace, made: bytes) -> None:
    _put(place, marked(made, place.kind))


def _put(place: PaperPlace, made: bytes) -> None:
    write_out(place.target, made)
    note(f"Wrote {place.target.file}.")
