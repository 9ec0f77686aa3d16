"""The verbs that write documents and pictures: `handout`, `summary`, `picture`. An edge."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pathway.cli.asked import Asked, child_verb
from pathway.cli.errors import leave_with_conflicts, note, refuse
from pathway.cli.groups import Renamed
from pathway.problems import CannotBeDone, Problem, Refused, refused

if TYPE_CHECKING:
    from pathway.children.resolve import KnownChild
    from pathway.plan.model import Plan
    from pathway.protocol.model import Protocol
    from pathway.views.documents.document import Document
    from pathway.views.documents.files import Paper
    from pathway.views.documents.summary import AcceptedPlan
    from pathway.views.drawings.drawing import Drawing
    from pathway.views.words.wording import Wording

PICTURES = ("timeline", "growth", "graph")
FORMER = {"road": "timeline"}
out_option = click.option(
    "-o",
    "--out",
    type=click.Path(path_type=Path),
    required=True,
    metavar="FILE",
    help="File to write; its extension sets the format.",
)
paper_option = click.option("--paper", type=click.Choice(("a4", "letter")), default="a4", help="Page size of a PDF.")
language_option = click.option("--language", default="en", metavar="CODE", help="Language of the text (en).")
wording_option = click.option(
    "--wording",
    "own",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="A clinic's own wording (TOML), replacing ours text by text.",
)


@click.command()
@child_verb
@out_option
@paper_option
@language_option
@wording_option
def handout(
    asked: Asked,
    out: Path,
    paper: Paper,
    language: str,
    own: Path | None,
) -> None:
    """Write the family's document: the years ahead in plain words (.pdf or .html)."""
    from pathway.views.documents.handout import handout as made_for_family

    _ending(out, ("pdf", "html"))
    words = _words(language, own)
    if words.notice:
        note(words.notice)
    _write(made_for_family(asked.compared, words, asked.protocol), out, paper)
    leave_with_conflicts(asked.plan)


@click.command()
@child_verb
@out_option
@paper_option
def summary(
    asked: Asked,
    out: Path,
    paper: Paper,
) -> None:
    """Write the team's document: the plan on one page for the file (.pdf, .html or .md).

    Of a child in the registry the page says which revision was accepted.
    """
    from pathway.views.documents.summary import summary as made_for_team

    _ending(out, ("pdf", "html", "md"))
    names = {rule.id: rule.label for rule in asked.protocol.findings}
    kept = asked.child.origin == "registry"
    _write(made_for_team(asked.compared, names, _accepted(asked.child) if kept else None, kept=kept), out, paper)
    leave_with_conflicts(asked.plan)


@click.command()
@click.argument("which", type=Renamed(PICTURES, FORMER))
@child_verb
@out_option
@language_option
@wording_option
def picture(
    which: str,
    asked: Asked,
    out: Path,
    language: str,
    own: Path | None,
) -> None:
    """Write one picture of the plan: the timeline, the growth or the graph of prerequisites (.svg or .png)."""
    from pathway.views.documents.files import png
    from pathway.views.drawings.drawing import captioned
    from pathway.views.words.caution import caution

    ending = _ending(out, ("svg", "png"))
    words = _words(language, own)
    drawing = _drawing(which, asked.plan, words, asked.protocol)
    if drawing is None:
        expected = "one visit with both legs measured"
        raise CannotBeDone(Problem(asked.name, "", None, "no leg length", expected, "nothing drawn"))
    drawing = captioned(drawing, caution(asked.plan))
    _save(out, drawing.svg().encode() if ending == "svg" else png(drawing))
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


def _accepted(known: KnownChild) -> AcceptedPlan | None:
    """Return the last plan that was accepted for the child."""
    from pathway.registry.journal.fold import accepted_plans
    from pathway.registry.journal.payloads import UnreadablePayload
    from pathway.views.documents.summary import AcceptedPlan

    try:
        found = accepted_plans(known.entries)
        if not found:
            return None
        last = found[-1]
        stages = tuple(
            (str(one["id"]), one["date"] and datetime.date.fromisoformat(one["date"]), one["amount_mm"])
            for one in last.revision.plan["stages"]
        )
    except (UnreadablePayload, KeyError, TypeError, ValueError) as error:
        seen, remedy = f"an accepted plan that cannot be read ({error})", "use the program that wrote it"
        raise refused("the registry", seen, "a plan", remedy, key=known.record.child.id) from error
    version, head = last.revision.protocol_version, known.registry_head
    return AcceptedPlan(last.number, last.entry.who, last.entry.when, last.revision.on, version, stages, head)


def _words(language: str, own: Path | None) -> Wording:
    from pathway.views.words.wording import wording

    try:
        text = None if own is None else own.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        refuse("--wording", f"nothing readable at {own}", "a UTF-8 file of words", "check the path")
    return wording(language, text, str(own))


def _ending(out: Path, known: tuple[str, ...]) -> str:
    ending = out.suffix.lower().removeprefix(".")
    if ending not in known:
        wanted = " or ".join(f".{name}" for name in known)
        refuse("-o", repr(out.name), f"a name that ends in {wanted}", "add the extension")
    return ending


def _write(document: Document, out: Path, paper: Paper) -> None:
    from pathway.views.documents.files import html, markdown, pdf

    ending = out.suffix.lower()
    made = pdf(document, paper) if ending == ".pdf" else (html if ending == ".html" else markdown)(document).encode()
    _save(out, made)


def _save(out: Path, made: bytes) -> None:
    try:
        out.write_bytes(made)
    except OSError as error:
        what = f"{out} cannot be written ({error.strerror})"
        raise Refused(Problem("-o", "", None, what, "", "name a file in a folder you may write to")) from error
    note(f"Wrote {out}.")
