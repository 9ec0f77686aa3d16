"""The verb `achieved`: an osteotomy's sheet as it was used beside the films after it. An edge."""

from __future__ import annotations

import click

from pathway.cli.asked import Asked, child_verb
from pathway.cli.options import json_option
from pathway.cli.printing import show, show_json, width


@click.command()
@child_verb
@json_option
def achieved(asked: Asked, as_json: bool) -> None:
    """Compare what an osteotomy of the upper femur was planned to do with what the films after it show.

    The sheet that was used is kept with the operation (`followup CASE --done STAGE --sheet FILE`), the film after it
    entered like any other. `registry achieved` tells what all of them have in common.
    """
    from pathway.questions.achieved import achieved as achieved_in
    from pathway.questions.achieved import without_sheet
    from pathway.views.data.shapes import AchievedPrinted
    from pathway.views.words.achieved import achieved_text
    from pathway.views.words.caution import CAUTION, of_children, with_invented

    found = achieved_in(asked.question)
    caution = with_invented(f"{CAUTION}.", of_children([asked.record.child.note]))
    if as_json:
        printed = AchievedPrinted(child=asked.record.child.id, on=asked.on, operations=found, caution=caution)
        show_json(printed.model_dump_json(indent=2))
        return
    bare = without_sheet(asked.question)
    text = achieved_text(asked.record.child.id, asked.on, found, bare, asked.protocol, caution, width())
    show(text, nl=False)
