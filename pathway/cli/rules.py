"""The verbs on the rules themselves."""

from __future__ import annotations

from pathlib import Path

import click

from pathway.cli import printing
from pathway.cli.asked import protocol_of
from pathway.cli.groups import Verbs
from pathway.cli.options import json_option, protocol_option
from pathway.cli.printing import show_json, width


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
