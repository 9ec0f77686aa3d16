"""The app's state: edits that can be undone in the user's words, and the list of children."""

from __future__ import annotations

import pytest

from pathway.events import Correction, NewCard
from pathway.views.words.children import next_stage
from tests.plans import files, plan, record
from tui.opened import NothingToDo, Session, child_list, edit, planned, redo, row, undo


def started() -> Session:
    return Session(record("rowan-02"), plan("rowan-02"))


def renamed(session: Session, note: str) -> Session:
    child = session.record.child.model_copy(update={"note": note})
    return edit(session, f"note set to {note}", [NewCard(child)])


def test_an_edit_keeps_its_sentence_and_asks_for_a_new_plan() -> None:
    changed = renamed(started(), "seen")
    assert changed.done[-1].sentence == "note set to seen"
    assert changed.record.child.note == "seen"
    assert changed.plan is None


def test_undo_and_redo_go_back_and_forth() -> None:
    first = started()
    twice = renamed(renamed(first, "one"), "two")
    assert undo(twice).record.child.note == "one"
    assert undo(undo(twice)).record == first.record
    assert redo(undo(twice)).record == twice.record
    assert [item.sentence for item in undo(twice).undone] == ["note set to two"]


def test_a_new_edit_forgets_what_was_undone() -> None:
    again = renamed(undo(renamed(started(), "one")), "other")
    assert again.undone == ()
    with pytest.raises(NothingToDo):
        redo(again)


def test_without_edits_there_is_nothing_to_undo() -> None:
    with pytest.raises(NothingToDo):
        undo(started())


def test_a_finished_plan_joins_its_session() -> None:
    waiting = renamed(started(), "one")
    assert planned(waiting, plan("rowan-02")).plan == plan("rowan-02")
    assert planned(waiting, plan("rowan-02")).done == waiting.done


def test_children_are_planned_the_wanted_one_first() -> None:
    children = child_list({"b": "", "a": "", "c": ""})
    assert [entry.name for entry in children.entries] == ["a", "b", "c"]
    assert children.next_to_plan("c") == children["c"]
    assert children.next_to_plan(None) == children["a"]
    done = children.with_problems("a", ["cannot be read"]).with_plan("b", record("rowan-02"), plan("rowan-02"))
    assert done.next_to_plan("b") == done["c"]
    assert done.with_problems("c", ["no"]).next_to_plan(None) is None


def test_a_plan_is_made_again_with_its_courses_only_where_they_are_asked_for() -> None:
    children = child_list({"a": "", "b": ""})
    for name in ("a", "b"):
        children = children.with_plan(name, record("rowan-02"), plan("rowan-02"))
    assert children.next_to_plan(None) is None
    assert children.next_to_plan(None, {"b"}) == children["b"]
    compared = children.with_plan("b", record("rowan-02"), plan("rowan-02"), compared=True)
    assert compared.next_to_plan(None, {"b"}) is None
    failed = children.not_compared("b", ["an internal error"])
    assert failed.next_to_plan(None, {"b"}) is None
    assert (failed["b"].told, failed["b"].plan) == (("an internal error",), plan("rowan-02"))


def test_an_edit_that_cannot_be_planned_is_taken_back_to_the_plan_before_it() -> None:
    children = child_list({"rowan-02": ""}).with_plan("rowan-02", record("rowan-02"), plan("rowan-02"))
    gone = Correction(record("rowan-02").visits[-1], None)
    entry = children.edited("rowan-02", "one", [gone]).with_problems("rowan-02", ["no plan"])["rowan-02"]
    assert entry.session is not None
    assert (entry.session.record, entry.session.plan) == (record("rowan-02"), plan("rowan-02"))
    assert entry.told == ("Not done: one.", "no plan")


def test_an_edit_taken_back_to_one_that_was_never_planned_is_planned_anew() -> None:
    children = child_list({"rowan-02": ""}).with_plan("rowan-02", record("rowan-02"), plan("rowan-02"))
    first = record("rowan-02").model_copy(update={"visits": record("rowan-02").visits[:-1]})
    one, two = (Correction(visit, None) for visit in reversed(record("rowan-02").visits[-2:]))
    children = children.edited("rowan-02", "one", [one]).edited("rowan-02", "two", [two])
    entry = children.with_problems("rowan-02", ["no plan"])["rowan-02"]
    assert entry.session is not None
    assert entry.session.record == first
    # The plan that stands on the screens is of the record before both: it is not that of the first edit.
    assert entry.session.plan is None
    assert entry.waiting
    assert entry.told == ("Not done: two. no plan",)


def test_a_row_says_age_diagnosis_next_step_and_difference() -> None:
    of = plan("rowan-02")
    entry = child_list(files()).with_plan("rowan-02", record("rowan-02"), of)["rowan-02"]
    said = row(entry)
    following = next_stage(of)
    assert following is not None
    assert (said.age, said.following, said.when) == ("2 y 8 m", following.label, str(following.date))
    assert said.difference == f"{of.growth.at_maturity.discrepancy_mm.p50 / 10:.1f} cm"  # type: ignore[union-attr]


def test_a_row_without_growth_says_not_known() -> None:
    entry = child_list(files()).with_plan("elm-01", record("elm-01"), plan("elm-01"))["elm-01"]
    assert row(entry).difference == "not known"


def test_a_row_of_a_faulty_file_says_its_fault() -> None:
    entry = child_list({"ash-01": "nonsense"}).with_problems("ash-01", ["ash-01.toml: found nonsense"])["ash-01"]
    assert row(entry).following == "ash-01.toml: found nonsense"


def test_next_is_the_first_operation_that_is_not_done() -> None:
    following = next_stage(plan("hazel-08"))
    assert following is not None
    assert following.operation
    assert following.date is not None
    assert following.date >= plan("hazel-08").on


def test_a_search_needs_every_word() -> None:
    children = child_list(files())
    for name in files():
        children = children.with_plan(name, record(name), plan(name))
    assert [item.name for item in children.found("ROWAN")] == ["rowan-02"]
    assert {item.name for item in children.found("short femur")} == {"alder-06", "elder-15", "oak-12"}
    assert children.found("short femur rowan") == ()
    assert len(children.found("")) == len(files())
