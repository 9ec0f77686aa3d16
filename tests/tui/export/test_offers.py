"""Each paper of the export screen is what its verb writes of the same child, day and settings, byte for byte."""

from __future__ import annotations

import datetime
from pathlib import Path

import pytest
from click.testing import CliRunner

from pathway.casefile.read_and_check import read_and_check
from pathway.cli.main import main
from pathway.problems import CannotBeDone, Refused
from pathway.protocol.load import load_protocol
from pathway.protocol.question import Question
from pathway.worksheets.kinds import KINDS, kind_for
from pathway.worksheets.of_plan import sheet_case
from tests.plans import DAY, plan, record
from tui.export.offers import Edge, Ground, Offer, offers
from tui.export.sheets import SheetAsSet

STAMP = datetime.datetime(2026, 11, 25, 8, 0, tzinfo=datetime.UTC)
ON = ("--on", str(DAY))
STAMPED = ("--stamp", "2026-11-25T08:00:00Z")
LENGTHENING, OSTEOTOMY = "femoral_lengthening_1", "proximal_femoral_osteotomy_1"


def edge(compared=None, earlier: bytes | None = None) -> Edge:
    return Edge(STAMP, lambda: compared or plan("rowan-02"), lambda: None, earlier=earlier)


def ground(*sheets: SheetAsSet, stage: str = "", language: str = "en") -> Ground:
    made = plan("rowan-02")
    chosen = next((one for one in made.stages if one.id == stage), None)
    return Ground(Question(record("rowan-02"), load_protocol(), DAY), made, sheets, chosen, language)


def as_set(stage: str, typed: dict[str, str]) -> SheetAsSet:
    base = ground(stage=stage)
    assert base.stage is not None
    kind = kind_for(base.stage, base.protocol)
    assert kind is not None
    case = sheet_case(base.question, base.plan, base.stage)
    return SheetAsSet(kind, case, typed, KINDS[kind].make(case, typed))


def offered(name: str, of: Ground) -> Offer:
    return next(one for one in offers(of) if one.name == name)


def by_the_verb(tmp_path: Path, file: str, *words: str) -> bytes:
    done = CliRunner().invoke(main, [*words, *ON, "-o", str(tmp_path / file)])
    assert done.exit_code == 0, done.output
    return (tmp_path / file).read_bytes()


def test_every_paper_has_a_label_a_file_name_with_the_child_and_what_it_holds() -> None:
    found = offers(ground(as_set(LENGTHENING, {}), stage=OSTEOTOMY))
    assert [one.name for one in found] == [
        "summary",
        "handout",
        "calendar",
        f"calendar.{LENGTHENING}",
        f"worksheet.{LENGTHENING}",
        f"worksheet.{OSTEOTOMY}",
        f"theatre.{OSTEOTOMY}",
        "record",
        "case",
    ]
    assert all(one.file().startswith("rowan-02-") and one.label and one.holds for one in found)
    assert len({one.file() for one in found}) == len(found)


@pytest.mark.parametrize("form", ["html", "md"])
def test_the_summary_is_the_verbs(tmp_path, form) -> None:
    made = offered("summary", ground()).make(form, edge())
    assert made.data == by_the_verb(tmp_path, f"out.{form}", "summary", "rowan-02")


@pytest.mark.parametrize("language", ["en", "de"])
def test_the_handout_is_the_verbs_in_each_language(tmp_path, language) -> None:
    offer = offered("handout", ground(language=language))
    assert offer.file() == f"rowan-02-handout-{language}.pdf"
    by_verb = by_the_verb(tmp_path, "out.html", "handout", "rowan-02", "--language", language)
    assert offer.make("html", edge()).data == by_verb


def test_the_calendar_is_the_verbs(tmp_path) -> None:
    made = offered("calendar", ground()).make("ics", edge())
    assert made.data == by_the_verb(tmp_path, "out.ics", "calendar", "rowan-02", *STAMPED)


def test_the_calendar_of_a_lengthening_has_the_days_as_its_sheet_is_set(tmp_path) -> None:
    typed = {"amount_mm": "30"}
    offer = offered(f"calendar.{LENGTHENING}", ground(as_set(LENGTHENING, typed)))
    words = ("calendar", "rowan-02", *STAMPED, "--lengthening", LENGTHENING)
    made = offer.make("ics", edge()).data
    assert made == by_the_verb(tmp_path, "out.ics", *words, "--set", "amount_mm=30")
    assert made != by_the_verb(tmp_path, "other.ics", *words)
    assert "1 input set by hand" in offer.holds


def test_a_calendar_in_place_of_an_earlier_one_calls_off_what_fell_away() -> None:
    before = offered(f"calendar.{LENGTHENING}", ground(as_set(LENGTHENING, {"amount_mm": "60"}))).make("ics", edge())
    offer = offered(f"calendar.{LENGTHENING}", ground(as_set(LENGTHENING, {"amount_mm": "40"})))
    after = offer.make("ics", edge(earlier=before.data))
    assert b"STATUS:CANCELLED" in after.data
    assert b"STATUS:CANCELLED" not in offer.make("ics", edge()).data
    with pytest.raises(Refused, match="calendar"):
        offer.make("ics", edge(earlier=b"BEGIN:VCALENDAR of somebody else"))


def test_the_worksheet_is_the_one_on_the_screen_with_its_caution() -> None:
    sheet = as_set(LENGTHENING, {"amount_mm": "40"})
    text = offered(f"worksheet.{LENGTHENING}", ground(sheet)).make("txt", edge()).data.decode()
    printed = CliRunner().invoke(
        main, ["worksheet", "lengthening", "rowan-02", "--stage", LENGTHENING, "--set", "amount_mm=40", *ON]
    )
    assert [line.split() for line in text.split("\n") if "Amount" in line][:1] == [
        line.split() for line in printed.stdout.split("\n") if "Amount" in line
    ][:1]
    said = " ".join(text.lower().split())
    assert "planning aid" in said
    assert "invented child" in said
    assert "surgeon decides" in said


def test_the_page_for_the_table_names_the_sizes_that_nobody_measured_or_is_the_verbs(tmp_path) -> None:
    from tests.examples import SIZES

    with pytest.raises(CannotBeDone, match="not measured"):
        offered(f"theatre.{OSTEOTOMY}", ground(stage=OSTEOTOMY)).make("html", edge())
    typed = dict(word.split("=") for word in SIZES if word != "--set")
    offer = offered(f"theatre.{OSTEOTOMY}", ground(as_set(OSTEOTOMY, typed)))
    assert offer.make("html", edge()).data == by_the_verb(tmp_path, "out.html", "theatre", "rowan-02", *SIZES)


def test_the_document_for_a_record_system_is_the_verbs(tmp_path) -> None:
    made = offered("record", ground()).make("json", edge())
    assert made.data == by_the_verb(tmp_path, "out.json", "fhir", "rowan-02", *STAMPED)


def test_the_case_file_reads_back_to_the_same_child() -> None:
    made = offered("case", ground()).make("toml", edge())
    assert read_and_check(made.data.decode(), "out.toml", load_protocol(), DAY) == record("rowan-02")


def test_a_file_name_asks_for_its_form_and_another_one_is_refused() -> None:
    offer = offered("handout", ground())
    assert (offer.form_of("a.HTML"), offer.form_of("b.pdf")) == ("html", "pdf")
    for file in ("c.docx", "pdf", ""):
        with pytest.raises(Refused, match=r"a name that ends in \.pdf or \.html"):
            offer.form_of(file)


def test_a_sheet_holds_only_for_the_record_that_it_was_made_of() -> None:
    sheet = as_set(LENGTHENING, {})
    known = record("rowan-02")
    assert sheet.holds_for(known)
    assert not sheet.holds_for(known.model_copy(update={"visits": known.visits[:-1]}))
