"""The verbs that write documents and pictures: `handout`, `summary`, `picture`. An edge."""

from __future__ import annotations

import datetime
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pathway.cli.case import BAD_INPUT, CANNOT_PLAN, breaches_told, case_argument, on_option
from pathway.cli.case import today as day_of
from pathway.cli.child import KnownChild, known_child
from pathway.cli.registry_options import key_of, problems_told, registry_options
from pathway.cli.rules import protocol_of, protocol_option

if TYPE_CHECKING:
    from pathway.plan.model import Plan
    from pathway.protocol.model import Protocol
    from pathway.views.documents.document import Document
    from pathway.views.documents.files import Paper
    from pathway.views.documents.summary import AcceptedPlan
    from pathway.views.drawings.drawing import Drawing
    from pathway.views.words.family_terms import SchoolYears
    from pathway.views.words.wording import Wording

PICTURES = ("road", "growth", "graph")
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
@case_argument
@out_option
@paper_option
@language_option
@wording_option
@on_option
@protocol_option
@registry_options
def handout(
    case: Path,
    out: Path,
    paper: Paper,
    language: str,
    own: Path | None,
    on: datetime.date | None,
    clinic: Path | None,
    address: str | None,
    key_file: Path | None,
    ask_key: bool,
) -> None:
    """Write the family's document: the years ahead in plain words (.pdf or .html).

    CASE is a case file, or the id of a child in the registry.
    """
    from pathway.views.documents.handout import handout as made_for_family

    _ending(out, ("pdf", "html"))
    words = _words(language, own)
    made, protocol, _ = _planned(case, on, clinic, address, key_of(key_file, ask_key))
    if words.notice:
        click.echo(words.notice, err=True)
    _write(made_for_family(made, words, _school(protocol)), out, paper)
    _conflicts(made)


@click.command()
@case_argument
@out_option
@paper_option
@on_option
@protocol_option
@registry_options
def summary(
    case: Path,
    out: Path,
    paper: Paper,
    on: datetime.date | None,
    clinic: Path | None,
    address: str | None,
    key_file: Path | None,
    ask_key: bool,
) -> None:
    """Write the team's document: the plan on one page for the file (.pdf, .html or .md).

    CASE is a case file, or the id of a child in the registry: then the page says which revision was accepted.
    """
    from pathway.views.documents.summary import summary as made_for_team

    _ending(out, ("pdf", "html", "md"))
    made, protocol, known = _planned(case, on, clinic, address, key_of(key_file, ask_key))
    names = {rule.id: rule.label for rule in protocol.findings}
    accepted = None if known.entries is None else _accepted(known)
    _write(made_for_team(made, names, accepted, kept=known.entries is not None), out, paper)
    _conflicts(made)


@click.command()
@click.argument("which", type=click.Choice(PICTURES))
@case_argument
@out_option
@language_option
@wording_option
@on_option
@protocol_option
@registry_options
def picture(
    which: str,
    case: Path,
    out: Path,
    language: str,
    own: Path | None,
    on: datetime.date | None,
    clinic: Path | None,
    address: str | None,
    key_file: Path | None,
    ask_key: bool,
) -> None:
    """Write one picture of the plan: the road, the growth or the graph of what comes before what (.svg or .png)."""
    from pathway.views.documents.files import png

    ending = _ending(out, ("svg", "png"))
    words = _words(language, own)
    made, protocol, _ = _planned(case, on, clinic, address, key_of(key_file, ask_key))
    drawing = _drawing(which, made, words, protocol)
    if drawing is None:
        click.echo(f"{case}: found no leg length, expected one visit with both legs measured; nothing drawn.", err=True)
        sys.exit(CANNOT_PLAN)
    _save(out, drawing.svg().encode() if ending == "svg" else png(drawing))
    _conflicts(made)


def _drawing(which: str, made: Plan, words: Wording, protocol: Protocol) -> Drawing | None:
    if which == "growth":
        from pathway.views.drawings.growth import growth_drawing

        return growth_drawing(made, words)
    if which == "graph":
        from pathway.views.drawings.prerequisites import graph_drawing

        return graph_drawing(made)
    from pathway.views.drawings.timeline import road_drawing

    return road_drawing(made, words, _school(protocol), windows=True)


def _planned(
    case: Path, on: datetime.date | None, clinic: Path | None, address: str | None, key: str | None
) -> tuple[Plan, Protocol, KnownChild]:
    from pathway.plan.make import make_plan

    day, protocol = day_of(on), protocol_of(clinic)
    known = known_child(case, protocol, day, address, key)
    with breaches_told(str(case)):
        return make_plan(known.record, protocol, day), protocol, known


def _accepted(known: KnownChild) -> AcceptedPlan | None:
    """Return the last plan that was accepted for the child."""
    from pathway.registry.journal.fold import accepted_plans
    from pathway.registry.journal.payloads import UnreadablePayload
    from pathway.registry.problem import problem
    from pathway.views.documents.summary import AcceptedPlan

    with problems_told():
        try:
            found = accepted_plans(known.entries or ())
            if not found:
                return None
            last = found[-1]
            stages = tuple(
                (str(one["id"]), one["date"] and datetime.date.fromisoformat(one["date"]), one["amount_mm"])
                for one in last.revision.plan["stages"]
            )
        except (UnreadablePayload, KeyError, TypeError, ValueError) as error:
            seen, do = f"an accepted plan that cannot be read ({error})", "use the program that wrote it"
            raise problem("the registry", seen, "a plan", do, key=known.record.child.id) from error
    version = last.revision.protocol_version
    return AcceptedPlan(last.number, last.entry.who, last.entry.when, last.revision.on, version, stages)


def _school(protocol: Protocol) -> SchoolYears:
    from pathway.views.words.family_terms import SchoolYears

    return SchoolYears(protocol.number("school_from_years"), int(protocol.number("school_year_start_month")))


def _words(language: str, own: Path | None) -> Wording:
    from pathway.views.words.wording import WordingError, wording

    try:
        text = None if own is None else own.read_text(encoding="utf-8")
        return wording(language, text, str(own))
    except (OSError, UnicodeDecodeError):
        click.echo(
            f"--wording: found nothing readable at {own}, expected a UTF-8 file of words; check the path.", err=True
        )
    except WordingError as error:
        click.echo(str(error), err=True)
    sys.exit(BAD_INPUT)


def _ending(out: Path, known: tuple[str, ...]) -> str:
    ending = out.suffix.lower().removeprefix(".")
    if ending not in known:
        wanted = " or ".join(f".{name}" for name in known)
        click.echo(f"-o: found {out.name!r}, expected a name that ends in {wanted}; add the extension.", err=True)
        sys.exit(BAD_INPUT)
    return ending


def _write(document: Document, out: Path, paper: Paper) -> None:
    from pathway.views.documents.files import LayoutError, html, markdown, pdf

    ending = out.suffix.lower()
    try:
        made = (
            pdf(document, paper) if ending == ".pdf" else (html if ending == ".html" else markdown)(document).encode()
        )
    except LayoutError as error:
        click.echo(f"{out}: internal error, nothing was written: {error}. Please report it.", err=True)
        sys.exit(CANNOT_PLAN)
    _save(out, made)


def _save(out: Path, made: bytes) -> None:
    try:
        out.write_bytes(made)
    except OSError as error:
        click.echo(
            f"-o: {out} cannot be written ({error.strerror}); name a file in a folder you may write to.", err=True
        )
        sys.exit(BAD_INPUT)
    click.echo(f"Wrote {out}.", err=True)


def _conflicts(made: Plan) -> None:
    for item in made.conflicts:
        click.echo(item.explanation, err=True)
    if made.conflicts:
        sys.exit(CANNOT_PLAN)
