"""Undo in a form: a value is one step, whatever letters it was typed with; what is undone can be done again."""

from __future__ import annotations

from tui.typed_steps import Steps


def written(steps: Steps, name: str, text: str) -> Steps:
    """Type a text letter by letter."""
    for end in range(1, len(text) + 1):
        steps = steps.with_text(name, text[:end])
    return steps


def test_undo_takes_back_the_value_of_the_field_typed_in_last_and_names_the_field() -> None:
    steps = written(written(Steps(), "femur", "183"), "tibia", "151")
    before, name = steps.undo()
    assert (before.typed, name) == ({"femur": "183"}, "tibia")
    assert before.undo()[0].typed == {}


def test_redo_does_what_was_undone_again_in_order() -> None:
    steps = written(written(Steps(), "femur", "183"), "tibia", "151")
    none = steps.undo()[0].undo()[0]
    one, name = none.redo()
    assert (one.typed, name) == ({"femur": "183"}, "femur")
    assert one.redo()[0].typed == {"femur": "183", "tibia": "151"}


def test_typing_after_an_undo_is_a_step_of_its_own_and_leaves_nothing_to_do_again() -> None:
    steps = written(written(Steps(), "femur", "18"), "tibia", "15").undo()[0]
    again = steps.with_text("femur", "183")
    assert again.redo() == (again, "")
    assert again.undo()[0].typed == {"femur": "18"}


def test_a_field_cleared_and_all_cleared_come_back_one_after_the_other() -> None:
    steps = written(written(Steps(), "femur", "183"), "tibia", "151")
    all_gone = steps.without("femur").cleared()
    assert all_gone.typed == {}
    assert all_gone.undo()[0].typed == {"tibia": "151"}
    assert all_gone.undo()[0].undo()[0].typed == {"femur": "183", "tibia": "151"}


def test_letters_after_a_clearing_do_not_run_into_it() -> None:
    steps = written(written(Steps(), "femur", "183").without("femur"), "femur", "19")
    assert steps.undo()[0].typed == {}
    assert steps.undo()[0].undo()[0].typed == {"femur": "183"}


def test_deleting_every_letter_is_as_if_nothing_had_been_typed() -> None:
    assert Steps().with_text("femur", "1").with_text("femur", " ").typed == {}


def test_where_nothing_was_typed_undo_and_redo_change_nothing() -> None:
    assert Steps().undo() == (Steps(), "")
    assert Steps().redo() == (Steps(), "")
