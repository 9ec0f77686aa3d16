"""The verbs on the rules themselves."""

from __future__ import annotations

import datetime
import importlib
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pathway.cli import printing
from pathway.cli.asked import protocol_of
from pathway.cli.errors import needs_fhir, note, refuse
from pathway.cli.groups import Verbs
from pathway.cli.options import Output, json_option, on_option, output_options, protocol_option, today
from pathway.cli.printing import show_json, width

if TYPE_CHECKING:
    from pathway.files.kinds import Kind

MOST_YEARS = 30
"""Longer lists of public holidays than a childhood are of no use."""
ENGLISH = "en_US"
"""Names as the rest of the rules; where a list lacks them, the country's own."""


@click.group(cls=Verbs)
def rules() -> None:
    """Read, check and compare the rules that plans are made with."""


@rules.command("list", short_help="the rules by kind")
@click.option("--kind", help="Only one kind: gates, intervals, values, ...")
@click.option("--markdown", is_flag=True, help="Print the whole catalogue as Markdown.")
@protocol_option
@json_option
def list_(kind: str | None, markdown: bool, overlay_dir: Path | None, as_json: bool) -> None:
    """List the rules by kind, each with its statement, strength and where it comes from."""
    from pathway.views.data.plan_json import part_json
    from pathway.views.rules.catalogue import catalogue
    from pathway.views.rules.pages import list_data, list_text

    protocol = protocol_of(overlay_dir)
    if markdown:
        printing.show(catalogue(protocol), nl=False)
        return
    text = part_json(list_data(protocol, kind)) + "\n" if as_json else list_text(protocol, kind, width())
    printing.show(text, nl=False)


@rules.command(short_help="one rule, with its sources and what depends on it")
@click.argument("id")
@protocol_option
@json_option
def show(id: str, overlay_dir: Path | None, as_json: bool) -> None:
    """Show one rule: what it says, why, how well it is known, its sources, and what hangs on it."""
    from pathway.views.data.plan_json import part_json
    from pathway.views.rules.pages import page_data, page_text

    protocol = protocol_of(overlay_dir)
    text = part_json(page_data(protocol, id)) + "\n" if as_json else page_text(protocol, id, width())
    printing.show(text, nl=False)


@rules.command(short_help="prove that the rules are consistent")
@protocol_option
def check(overlay_dir: Path | None) -> None:
    """Prove that the rules hold together: references, sources, ranges, and that every rule can matter."""
    from pathway.protocol.prove import refuse_unproved

    protocol = protocol_of(overlay_dir)
    if overlay_dir is None:
        refuse_unproved(protocol, "The rules are not consistent.")
    count = sum(1 for _ in protocol.rules())
    printing.show(f"{protocol.name} {protocol.version}: {count} rules, no faults.")


@rules.command(short_help="what a clinic's folder changes, as a sheet to review")
@click.argument("folder", type=click.Path(path_type=Path))
@json_option
def overlay(folder: Path, as_json: bool) -> None:
    """Show what a clinic's folder changes, adds and switches off, as a sheet to review and sign."""
    from pathway.files.rules import rules_folder
    from pathway.protocol.load import load_protocol, read_overlay
    from pathway.protocol.overlay import differences
    from pathway.views.data.plan_json import part_json
    from pathway.views.rules.overlay_sheet import sheet_data, sheet_text

    theirs, ours = protocol_of(folder), load_protocol()
    found = differences(ours, theirs, read_overlay(rules_folder(folder)))
    if as_json:
        show_json(part_json(sheet_data(ours, theirs, found)))
        return
    printing.show(sheet_text(ours, theirs, found, width()), nl=False)


@rules.command(short_help="the rules as PlanDefinitions (FHIR R4)")
@output_options()
@protocol_option
def export(out: Output, overlay_dir: Path | None) -> None:
    """Write the rules as PlanDefinitions (FHIR R4, JSON): one a stage, one for their order; needs the extra `fhir`."""
    needs_fhir()
    from pathway.exports.fhir.checked import checked
    from pathway.exports.fhir.rules import rules_bundle
    from pathway.files.kinds import FHIR_RULES

    _give(checked(rules_bundle(protocol_of(overlay_dir))) + "\n", out, FHIR_RULES)


@rules.command(short_help="the cited sources as BibTeX or CSL-JSON")
@output_options(
    text="File to write: .bib (BibTeX) or .json (CSL-JSON); BibTeX is printed if not given.", replaces=False
)
@protocol_option
def sources(out: Output, overlay_dir: Path | None) -> None:
    """Give every publication and page that the rules cite, for a reference manager.

    Authors, title and journal are given where the citation shows them apart; the citation as the rules have it, and
    what of it was read, stand in the note of each.
    """
    from pathway.exports.sources.bibtex import bibtex
    from pathway.exports.sources.csl import csl_json

    known = protocol_of(overlay_dir).sources
    ending = ".bib" if out.file is None else out.file.suffix.lower()
    if ending not in (".bib", ".json"):
        refuse(
            "-o", repr(str(out.file)), "a name that ends in .bib (BibTeX) or .json (CSL-JSON)", "give it one of them"
        )
    _give(bibtex(known) if ending == ".bib" else csl_json(known), out)


@rules.command(short_help="public holidays for a clinic's calendar")
@click.argument("place")
@click.option("--years", type=click.IntRange(1, MOST_YEARS), default=5, show_default=True, help="For how many years.")
@on_option
@protocol_option
@output_options(replaces=False)
def holidays(place: str, years: int, on: datetime.date | None, overlay_dir: Path | None, out: Output) -> None:
    """Write the public holidays of a place as days on which a clinic does not operate, as a file for its rules.

    PLACE is a country by its two letters, or one of its parts: DE, DE-BY, US-CA. With --protocol what that clinic has
    closed already stays. Needs the extra `calendar`.
    """
    from pathway.views.rules.public_holidays import holidays_overlay

    first = today(on).year
    days, origin = _listed(place, range(first, first + years))
    _give(holidays_overlay(protocol_of(overlay_dir).clinic_calendar, days, place.upper(), origin), out)


def _listed(place: str, years: range) -> tuple[dict[datetime.date, str], str]:
    """Return the public holidays of a place with their names, and the list that they are from."""
    try:
        library: Any = importlib.import_module("holidays")
    except ImportError:
        refuse("", "no list of public holidays", "the extra `calendar`", "run: pip install 'limb-pathway[calendar]'")
    country, _, part = place.partition("-")
    known = library.list_supported_countries()
    if country.upper() not in known:
        expected = "a country by its two letters, such as DE, or one of its parts, such as DE-BY"
        refuse(
            "PLACE",
            repr(place),
            expected,
            "look up the letters in ISO 3166; type the days of a country that is not listed into `blocked`",
        )
    parts = {one.upper(): one for one in known[country.upper()]}
    if part and part.upper() not in parts:
        listed = ", ".join(sorted(parts.values()))
        expected = f"a part of {country}: {listed}" if parts else f"{country} alone: its parts are not told apart"
        refuse("PLACE", repr(place), expected, "correct it, or leave the part out")
    asked = {"subdiv": parts.get(part.upper()), "years": years}
    found = library.country_holidays(country.upper(), **asked)
    if ENGLISH in found.supported_languages:
        found = library.country_holidays(country.upper(), **asked, language=ENGLISH)
    return dict(sorted(found.items())), f"the package holidays {library.__version__}"


def _give(text: str, out: Output, kind: Kind | None = None) -> None:
    """Print a text, or write it: over an earlier one of its kind, without a kind over nothing."""
    if out.file is None and kind is None:
        printing.show(text, nl=False)
        return
    if out.file is None:
        printing.show_bytes(text.encode())
        return
    from pathway.files.writing import write_out

    write_out(out.to(kind), text.encode())
    note(f"Wrote {out.file}.")
