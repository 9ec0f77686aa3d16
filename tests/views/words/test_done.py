"""Details, summary, strip and timeline tell what was entered of an operation that was done."""

from __future__ import annotations

from pathway.casefile import read_case
from pathway.plan.model import Plan
from pathway.protocol.question import EarlierOperation, Question
from pathway.record import Record
from pathway.views.documents.document import Paragraph
from pathway.views.documents.summary import summary
from pathway.views.words.carried_out import carried_out_words
from pathway.views.words.done import done_lines
from pathway.views.words.paragraphs import details
from pathway.views.words.strip import strip
from pathway.views.words.timeline import timeline_words
from tests.made_once import made_once
from tests.plans import DAY, files, plan, rules

LENGTHENED = """
[[operation]]
kind = "femoral_lengthening"
date = 2026-05-20
side = "{side}"
achieved_mm = 28
device_removed = 2026-11-18
complications = ["pin_site_infection", "nerve_signs"]
"""
FOUR_CM = EarlierOperation("femoral_lengthening_1", 5.0, 40.0)


def after(earlier: tuple[EarlierOperation, ...] = ()) -> Plan:
    text = files()["oak-12"]
    side = plan("oak-12").child.affected_side
    record = read_case(text + LENGTHENED.format(side=side), "oak-12.toml", rules())
    assert isinstance(record, Record), record
    return made_once(Question(record, rules(), DAY, earlier=earlier))


def test_complications_device_off_and_length_are_told_in_details_and_summary() -> None:
    now = after()
    stage = next(one for one in now.stages if one.id == "femoral_lengthening_1")
    assert list(done_lines(stage)) == [
        "Achieved: 2.8 cm",
        "Device off: 2026-11-18",
        "Complications: pin site infection, nerve signs",
    ]
    said = [one.text for one in details(now, stage)]
    assert set(done_lines(stage)) <= set(said)
    assert not any(text.startswith("Amount") for text in said)
    texts = [block.text for block in summary(now).blocks if isinstance(block, Paragraph)]
    whole = "Femoral lengthening 1, 2026-05-20: 2.8 cm, device off 2026-11-18, with pin site infection, nerve signs"
    assert f"Done: {whole}." in texts


def test_strip_and_timeline_tell_it_too() -> None:
    now = after()
    told = {one.mark.strip(): one.text for one in strip(now)}
    assert told["DONE"] == (
        "Femoral lengthening 1 on 2026-05-20: 2.8 cm, device off 2026-11-18, with pin site infection, nerve signs."
    )
    assert "DONE" not in {one.mark.strip() for one in strip(plan("oak-12"))}
    assert "nerve signs" in " ".join(" ".join(timeline_words(now, 100)).split())


def test_what_was_accepted_before_it_stands_beside_what_was_achieved() -> None:
    now = after((FOUR_CM,))
    stage = next(one for one in now.stages if one.id == "femoral_lengthening_1")
    assert next(iter(done_lines(stage))) == "Achieved: 2.8 of 4.0 cm planned"


def test_an_edit_tells_the_length_planned_by_the_plan_before_it() -> None:
    now = after()
    stages = tuple(
        one.model_copy(update={"status": "later", "amount_mm": 40.0, "recorded": None})
        if one.id == "femoral_lengthening_1"
        else one
        for one in now.stages
    )
    said = next(carried_out_words(now.model_copy(update={"stages": stages}), now))
    assert "2.8 of 4.0 cm planned, device off 2026-11-18, with pin site infection, nerve signs" in said
