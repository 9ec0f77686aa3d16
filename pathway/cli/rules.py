"""The verbs on the rules themselves, and the clinic's folder that every verb may lay over them. An edge."""

from __future__ import annotations

import os
import shutil
import sys
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

import click

if TYPE_CHECKING:
    from pathway.problems import Fault
    from pathway.protocol.model import Protocol

BAD_INPUT = 2

protocol_option = click.option(
    "--protocol",
    "clinic",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Apply a clinic's folder of rules (TOML) over ours, rule by rule.",
)
json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON for other programs.")


def protocol_of(clinic: Path | None) -> Protocol:
    """Return the protocol, with the clinic's folder laid over it and proved; leaves with the faults in words."""
    from pathway.protocol.load import ProtocolError, load_protocol

    try:
        protocol = load_protocol() if clinic is None else load_protocol(clinic)
    except ProtocolError as error:
        if clinic is None:
            _refuse("The rules cannot be used.", error.faults)
        _refuse(f"The rules of {clinic} cannot be applied over ours.", error.faults)
    if clinic is not None and (faults := _proved(protocol)):
        _refuse(f"With the rules of {clinic} the protocol is not consistent.", faults)
    return protocol


def width() -> int:
    """Return the columns to print in: those of the terminal, from 60 to 120."""
    return max(60, min(shutil.get_terminal_size((100, 24)).columns, 120))


def words_only(plain: bool) -> bool:
    """Return whether to print words alone: asked for, or nobody looks at pictures (piped, NO_COLOR, dumb terminal)."""
    return plain or not sys.stdout.isatty() or "NO_COLOR" in os.environ or os.environ.get("TERM") == "dumb"


def can_open_screens() -> bool:
    """Return whether there is a terminal, or a browser, to show the screens in."""
    return "TEXTUAL_DRIVER" in os.environ or (sys.stdin.isatty() and sys.stdout.isatty())


def with_headings(text: str) -> str:
    """Return text with its headings strong where a terminal shows it; plain when piped or where that is not wished."""
    if words_only(False):
        return text
    lines = text.split("\n")
    heads = {0} | {n for n in range(1, len(lines) - 1) if lines[n - 1] == "" and lines[n + 1].startswith("  ")}
    strong = (
        click.style(line, bold=True) if n in heads and line[:1].isalpha() else line for n, line in enumerate(lines)
    )
    return "\n".join(strong)


@click.group()
def rules() -> None:
    """Read, check and compare the rules that plans are made with."""


@rules.command("list")
@click.option("--kind", help="Only one kind: gates, intervals, values, ...")
@click.option("--markdown", is_flag=True, help="Print the whole catalogue as Markdown.")
@protocol_option
@json_option
def list_(kind: str | None, markdown: bool, clinic: Path | None, as_json: bool) -> None:
    """List the rules by kind, each with its statement, strength and where it comes from."""
    from pathway.views.data.plan_json import part_json
    from pathway.views.rules.catalogue import catalogue
    from pathway.views.rules.pages import UnknownKind, list_data, list_text

    protocol = protocol_of(clinic)
    if markdown:
        click.echo(catalogue(protocol), nl=False)
        return
    try:
        text = part_json(list_data(protocol, kind)) + "\n" if as_json else list_text(protocol, kind, width())
    except UnknownKind as error:
        click.echo(f"{error}.", err=True)
        sys.exit(BAD_INPUT)
    click.echo(text, nl=False)


@rules.command()
@click.argument("id")
@protocol_option
@json_option
def show(id: str, clinic: Path | None, as_json: bool) -> None:
    """Show one rule: what it says, why, how well it is known, its sources, and what hangs on it."""
    from pathway.views.data.plan_json import part_json
    from pathway.views.rules.pages import UnknownRule, page_data, page_text

    protocol = protocol_of(clinic)
    try:
        text = part_json(page_data(protocol, id)) + "\n" if as_json else page_text(protocol, id, width())
    except UnknownRule as error:
        click.echo(f"{error}.", err=True)
        sys.exit(BAD_INPUT)
    click.echo(text, nl=False)


@rules.command()
@protocol_option
def check(clinic: Path | None) -> None:
    """Prove that the rules hold together: references, sources, ranges, and that every rule can matter."""
    protocol = protocol_of(clinic)
    if clinic is None and (faults := _proved(protocol)):
        _refuse("The rules are not consistent.", faults)
    count = sum(1 for _ in protocol.rules())
    click.echo(f"{protocol.name} {protocol.version}: {count} rules, no faults.")


@rules.command()
@click.argument("folder", type=click.Path(path_type=Path))
@json_option
def overlay(folder: Path, as_json: bool) -> None:
    """Show what a clinic's folder changes, adds and switches off, as a sheet to review and sign."""
    from pathway.protocol.load import load_protocol, read_overlay
    from pathway.protocol.overlay import differences
    from pathway.views.data.plan_json import part_json
    from pathway.views.rules.overlay_sheet import sheet_data, sheet_text

    theirs, ours = protocol_of(folder), load_protocol()
    found = differences(ours, theirs, read_overlay(folder))
    if as_json:
        click.echo(part_json(sheet_data(ours, theirs, found)))
        return
    click.echo(sheet_text(ours, theirs, found, width()), nl=False)


def _proved(protocol: Protocol) -> tuple[Fault, ...]:
    from pathway.protocol.prove import prove

    return prove(protocol)


def _refuse(head: str, faults: tuple[Fault, ...]) -> NoReturn:
    from pathway.problems import sentences

    click.echo(f"{head}\n{sentences(faults)}", err=True)
    sys.exit(BAD_INPUT)
