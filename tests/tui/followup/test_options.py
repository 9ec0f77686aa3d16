"""Choices typed by a part of their words: one that fits is taken, several or none are said."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tui.followup.options import Option, Unclear, after, chosen, fitting, last_part, plain_options, several

PLATES = plain_options(("distal_femur", "proximal_tibia", "distal_tibia", "proximal_femur"))


@pytest.mark.parametrize(
    ("typed", "value"),
    [
        ("distal femur", "distal_femur"),
        ("DISTAL_FEMUR", "distal_femur"),
        ("distal f", "distal_femur"),
        ("tibia prox", "proximal_tibia"),
    ],
)
def test_a_part_that_fits_one_is_enough(typed, value) -> None:
    assert chosen(typed, PLATES).value == value


def test_the_words_in_full_win_over_longer_ones() -> None:
    options = (Option("one", "hip"), Option("two", "hip preparation"))
    assert chosen("hip", options).value == "one"


@pytest.mark.parametrize(("typed", "said"), [("dist", "distal femur or distal tibia; type more"), ("arm", "expected")])
def test_what_fits_several_or_none_is_said(typed, said) -> None:
    with pytest.raises(Unclear, match=said):
        chosen(typed, PLATES)


def test_several_are_typed_with_commas_and_counted_once() -> None:
    assert several("distal f, prox t, distal femur", PLATES) == ("distal_femur", "proximal_tibia")


def test_the_next_choice_completes_a_part_before_it_goes_on() -> None:
    assert after("prox", PLATES) == PLATES[1]
    assert after("proximal tibia", PLATES) == PLATES[2]
    assert after("arm", PLATES) == PLATES[0]
    assert after("arm", ()) is None


def test_the_next_choice_goes_round() -> None:
    words, typed = [], ""
    for _ in range(len(PLATES) + 1):
        typed = after(typed, PLATES).words  # type: ignore[union-attr]
        words.append(typed)
    assert words == [*(option.words for option in PLATES), PLATES[0].words]
    assert after("", ()) is None


@given(st.text(max_size=20))
def test_any_text_is_a_choice_or_said_to_be_none(typed) -> None:
    try:
        assert chosen(typed, PLATES) in PLATES
    except Unclear as error:
        assert "found" in str(error)


@pytest.mark.parametrize(
    ("typed", "left"),
    [("dist", ["distal femur", "distal tibia"]), ("tibia", ["proximal tibia", "distal tibia"])],
)
def test_while_typing_only_what_still_fits_is_listed(typed, left) -> None:
    assert [option.words for option in fitting(typed, PLATES)] == left


@pytest.mark.parametrize("typed", ["", "distal femur", "arm"])
def test_all_are_listed_where_nothing_one_whole_choice_or_none_of_them_is_typed(typed) -> None:
    assert fitting(typed, PLATES) == PLATES


def test_of_several_the_last_is_still_being_typed() -> None:
    assert last_part("distal femur, prox") == ("distal femur, ", "prox")
    assert last_part("prox") == ("", "prox")
