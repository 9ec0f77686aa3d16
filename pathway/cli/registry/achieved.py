"""The verb `registry achieved`: every osteotomy of the clinic, planned and achieved, and the next plan's error."""

from __future__ import annotations

import datetime
from pathlib import Path

import click

from pathway.cli.asked import nothing_looked_for, opened, protocol_of
from pathway.cli.errors import note, refuse
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
from pathway.files.kinds import marked, marked_kind
from pathway.files.writing import refuse_place, write_out
from pathway.problems import CannotBeDone, Refused

RULES = marked_kind("errors of osteotomies", "toml")


@click.command("achieved")
@click.option("--each", is_flag=True, help="Show every osteotomy too, by the id of its child.")
@output_options(text="Rules of the clinic (TOML) with the error of the next plan, to be reviewed.")
@on_option
@protocol_option
@registry_options
@json_option
@nothing_looked_for()
def achieved_(
    each: bool,
    out: Output,
    on: datetime.date | None,
    overlay_dir: Path | None,
    where: RegistryOptions,
    as_json: bool,
) -> None:
    """Compare what osteotomies of the upper femur were planned to do with what the films after them show.

    By implant: how far off on average, and how widely, with intervals; of too few nothing is told. With `-o` the error
    of the hand is written as rules of the clinic: in its folder of rules they stand behind the ranges of the next
    sheet.
    """
    from pathway.protocol.question import Question
    from pathway.questions.achieved import Achieved, achieved
    from pathway.questions.corrections import corrections
    from pathway.views.data.shapes import CorrectionsPrinted
    from pathway.views.words.achieved import as_rules, corrections_text
    from pathway.views.words.caution import CAUTION

    day, protocol = today(on), protocol_of(overlay_dir)
    target = None if out.file is None else out.to(RULES, *where.files)
    if target is not None:
        if target.file.suffix != ".toml":
            refuse("--output", target.file.name, "a name that ends with .toml", "rename it")
        refuse_place(target)
    done: list[Achieved] = []
    with opened(where) as store:
        for line in store.children():
            try:
                done += achieved(Question(store.record(line.child), protocol, day))
            except (Refused, CannotBeDone) as error:
                note(f"{line.child} is left out. {error}")
    found = corrections(done, protocol)
    if target is not None:
        rules = as_rules(found, day)
        if not rules:
            refuse(str(target.file), "too few osteotomies with a film after them", f"{found.least} or more")
        write_out(target, marked(rules.encode(), RULES))
        note(f"Wrote {target.file}. Review it, then lay it over the rules (--protocol).")
    if as_json:
        show_json(CorrectionsPrinted(on=day, corrections=found, caution=CAUTION).model_dump_json(indent=2))
        return
    show(corrections_text(found, day, f"{CAUTION}.", width(), each=each), nl=False)
