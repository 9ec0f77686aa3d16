"""What was typed of a new child becomes the record that a case file of it reads to, or a sentence for each field."""

from __future__ import annotations

import pytest

from pathway.casefile import case_text, read_case
from pathway.protocol.load import load_protocol
from tests.plans import DAY
from tui.newcomer.entered import DATE, METHOD, NEEDED, entered
from tui.newcomer.fields import fields, labels

CARD = {
    "id": "maple-03",
    "sex": "girl",
    "date_of_birth": "2019-05-31",
    "diagnosis": "congenital femoral",
    "affected_side": "left",
}
FIRST = {"left.femur_length_mm": "300", "right.femur_length_mm": "340"}


def found(typed: dict[str, str], known: tuple[str, ...] = ()):
    return entered(typed, load_protocol(), DAY, known)


def test_a_card_alone_is_a_record_and_so_is_one_with_first_lengths() -> None:
    alone, measured = found(CARD).record, found(CARD | FIRST).record
    assert alone is not None
    assert measured is not None
    assert alone.visits == ()
    assert (measured.visits[0].date, len(measured.visits[0].measurements)) == (DAY, 2)
    assert alone.child == measured.child
    assert (alone.child.id, alone.child.diagnosis) == ("maple-03", "congenital_femoral_deficiency")


def test_the_record_is_one_that_a_case_file_can_hold() -> None:
    made = found(CARD | FIRST | {"note": "seen with the physiotherapist", DATE: "2026-05-01"}).record
    assert made is not None
    assert read_case(case_text(made), "out.toml", load_protocol(), DAY) == made


def test_what_is_still_missing_is_no_fault() -> None:
    nothing = found({})
    assert (nothing.record, nothing.wrong, nothing.missing) == (None, {}, NEEDED)
    some = found({"id": "maple-03", "sex": "girl"})
    assert (some.record, some.wrong) == (None, {})
    assert some.missing == ("date_of_birth", "diagnosis", "affected_side")


@pytest.mark.parametrize(
    ("field", "text", "said"),
    [
        ("id", "Anna Smith", "no name"),
        ("id", "oak-12", "open that child, or give this one another id"),
        ("sex", "x", "expected girl or boy"),
        ("date_of_birth", "31.5.2019", "expected a date such as 2019-05-31"),
        ("date_of_birth", "2031-05-31", "expected a date up to 2026-11-25"),
        ("diagnosis", "leg", "could be|expected"),
        ("affected_side", "up", "expected left, right or both"),
        ("left.femur_length_mm", "long", "type digits only"),
        ("left.femur_length_mm", "3000", "expected"),
        (DATE, "2027-01-01", "expected"),
        (METHOD, "guess", "expected"),
    ],
)
def test_a_slip_is_said_under_its_field_and_nothing_else_is_complained_of(field, text, said) -> None:
    wrong = found(CARD | FIRST | {field: text}, known=("oak-12",))
    assert wrong.record is None
    assert list(wrong.wrong) == [field]
    assert any(part in wrong.wrong[field] for part in said.split("|")), wrong.wrong


def test_a_length_that_cannot_be_at_the_age_is_refused_under_its_field() -> None:
    wrong = found(CARD | {"left.femur_length_mm": "300", "right.femur_length_mm": "40"})
    assert wrong.record is None
    assert list(wrong.wrong) == ["right.femur_length_mm"]


def test_a_length_that_is_unlikely_is_asked_back_and_not_refused() -> None:
    unlikely = found(CARD | {"left.femur_length_mm": "300", "right.femur_length_mm": "620"})
    assert unlikely.record is not None
    assert unlikely.look_again
    assert found(CARD | FIRST).look_again == ()


def test_every_field_has_a_label_says_what_is_wanted_and_shows_its_slip() -> None:
    typed = CARD | {"sex": "x"}
    shown = fields(typed, found(typed), load_protocol(), DAY)
    assert len({field.name for field in shown}) == len(shown) == len(labels(load_protocol(), DAY))
    assert all(field.label and field.wanted for field in shown)
    assert [field.name for field in shown if field.wrong] == ["sex"]
    assert next(field.label for field in shown if field.name == "date_of_birth").endswith("(7 y 5 m)")


def test_the_form_says_that_an_id_is_no_name() -> None:
    said = next(field.wanted for field in fields({}, found({}), load_protocol(), DAY) if field.name == "id")
    assert "never its name" in said
