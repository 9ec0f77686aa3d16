"""The verb `registry results`: what the clinic's accepted plans said would happen, and what happened. An edge."""

from __future__ import annotations

import datetime
import gc
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pathway.children import papers
from pathway.cli.asked import opened, protocol_of
from pathway.cli.documents import document_target, paper_option, write_document
from pathway.cli.errors import note
from pathway.cli.options import (
    Output,
    RegistryOptions,
    json_option,
    on_option,
    output_options,
    protocol_option,
    registry_options,
    today,
)
from pathway.cli.printing import show, show_json, width

if TYPE_CHECKING:
    from pathway.results.clinic import Clinic, Results
    from pathway.views.documents.files import Paper

SELDOM = 100_000
"""After how many new objects more than freed ones cycles are looked for."""


@click.command("results")
@click.option("--each", is_flag=True, help="Tell every accepted plan beside every later visit, too.")
@click.option(
    "--refit", is_flag=True, help="Fit the risk by amount again with the clinic's own lengthenings (some seconds)."
)
@output_options(text="Page to write (.html, .pdf or .md); printed as text if not given.")
@paper_option
@json_option
@on_option
@protocol_option
@registry_options
def results_(
    each: bool,
    refit: bool,
    out: Output,
    paper: Paper,
    as_json: bool,
    on: datetime.date | None,
    overlay_dir: Path | None,
    where: RegistryOptions,
) -> None:
    """Hold every accepted plan of the clinic against what came.

    Differences in length as predicted and as seen, stated chances, the effect of growth arrests, lengthenings,
    complications beside the published rates, waived gates, days from due to done: each with its interval, as children
    and not visits prove it. Of few children nothing but counts is told. Nobody is ranked.
    """
    from pathway.results.clinic import Clinic
    from pathway.views.documents.results import results_document

    day, protocol = today(on), protocol_of(overlay_dir)
    place = None if out.file is None else document_target(out, "own results", papers.RESULTS, *where.files)
    found = _results(Clinic(protocol, each=each, refit=refit), day, where)
    document = results_document(found, day)
    if place is not None:
        write_document(document, place, paper)
    if as_json:
        from pathway.views.data.shapes import ResultsPrinted
        from pathway.views.words.caution import CAUTION

        show_json(ResultsPrinted(on=day, results=found, caution=CAUTION).model_dump_json(indent=2))
    elif place is None:
        from pathway.views.documents.terminal import document_text

        show(document_text(document, width()), nl=False)


@contextmanager
def seldom_collected() -> Iterator[None]:
    """Look for unused cycles a hundred times less often: plans are read and let go, and hold none."""
    before = gc.get_threshold()
    gc.set_threshold(SELDOM, *before[1:])
    try:
        yield
    finally:
        gc.set_threshold(*before)


def _results(clinic: Clinic, day: datetime.date, where: RegistryOptions) -> Results:
    """Return the results of all children, telling how far it is on a terminal and naming whom it leaves out."""
    from pathway.registry.own_results import LeftOut, each_known

    with opened(where) as store:
        seen = sys.stderr.isatty()
        length = len(store.children()) if seen else 0
        bar_of = click.progressbar(length=length, label="Reading", file=sys.stderr, hidden=not seen)
        with seldom_collected(), bar_of as bar:
            for known in each_known(store, clinic.protocol, day):
                if isinstance(known, LeftOut):
                    note(f"{known.child} is left out. {known.why}.")
                else:
                    clinic.add(known)
                bar.update(1)
    return clinic.results()
