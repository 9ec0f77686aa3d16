"""The verb `manual`: a page of the manual, the list of pages, or the help of a verb. An edge."""

from __future__ import annotations

import difflib
from pathlib import Path

import click

from pathway.cli.asked import protocol_of
from pathway.cli.errors import refuse
from pathway.cli.options import protocol_option
from pathway.cli.printing import show, show_with_headings, width

OF_TABLES = ("import", "table")
"""Verbs of the registry that the page on tables tells of."""


@click.command()
@click.argument("topic", required=False)
@protocol_option
@click.option("--markdown", is_flag=True, help="Print the page as it is kept, in Markdown.")
@click.pass_context
def manual(context: click.Context, topic: str | None, overlay_dir: Path | None, markdown: bool) -> None:
    """Print a page of the manual, or the list of pages; the name of a verb gives its help."""
    from pathway.views import manual as pages
    from pathway.views.words.printed import printed

    if topic is None:
        show_with_headings(
            "\n".join(("The manual: limb-pathway manual TOPIC", *printed(pages.contents(), width()), ""))
        )
        return
    verbs = context.parent.command if context.parent is not None else None
    if topic not in pages.topics():
        named = verbs.get_command(context, topic) if isinstance(verbs, click.Group) else None
        if named is None:
            known = (*pages.topics(), *(verbs.list_commands(context) if isinstance(verbs, click.Group) else ()))
            near = difflib.get_close_matches(topic, known, 1)
            do = f"did you mean {near[0]}" if near else "see the list: limb-pathway manual"
            registry = verbs.get_command(context, "registry") if isinstance(verbs, click.Group) else None
            if isinstance(registry, click.Group) and registry.get_command(context, topic) is not None:
                page = "tables" if topic in OF_TABLES else "registry"
                do = f"`limb-pathway manual {page}` tells of it, `limb-pathway registry {topic} --help` its options"
            refuse("manual", repr(topic), "a page of the manual, or a verb", do)
        show(named.get_help(click.Context(named, parent=context.parent, info_name=topic)))
        return
    if markdown and topic != pages.FINDINGS:
        show(pages.markdown(topic), nl=False)
        return
    lines = printed(pages.page(topic, protocol_of(overlay_dir)), width())
    show_with_headings("\n".join((*lines[1:], "")))
