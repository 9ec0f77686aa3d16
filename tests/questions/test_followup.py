"""A follow-up: what new facts change in the plan, each change with the fact that brought it."""

from __future__ import annotations

import datetime

import pytest

from pathway.events import apply, diff, rebase
from pathway.plan.make import make_plan
from pathway.protocol.load import load_protocol
from pathway.protocol.question import Question
from pathway.questions.compare import differences
from pathway.questions.followup import TIME, preview
from pathway.questions.record_diff import entered, event_words
from pathway.record import Record
from tests.examples import NAMES, ON, example
from tests.sample import at_age, child, decision, five_year_old, operation, visit

PROTOCOL = load_protocol()
LATER = datetime.date(2027, 5, 20)


def seen_again(record: Record, **values: object) -> Record:
    names = {name.replace("__", "."): value for name, value in values.items()}
    more = visit(LATER, names, side=record.affected_side)
    return record.model_copy(update={"visits": (*record.visits, more)})


def told(old: Record, new: Record) -> list[str]:
    return [event_words(event, old, PROTOCOL) for event in entered(diff(old, new), old)]


def on_top(theirs: Record, known: Record, own: Record) -> Record:
    """Return what others saved with one's own changes, entered one by one as a form or a file enters them."""
    return apply(theirs, rebase(diff(known, own), theirs))


class TestWhatWasEntered:
    @pytest.mark.parametrize("name", NAMES)
    def test_all_events_make_the_later_record_plan_alike(self, name: str) -> None:
        new = example(name)
        cut = new.model_copy(update={"visits": new.visits[:-1], "decisions": (), "operations": new.operations[:-1]})
        built = apply(cut, entered(diff(cut, new), cut))
        assert make_plan(Question(built, PROTOCOL, ON), compared=False) == make_plan(
            Question(new, PROTOCOL, ON), compared=False
        )

    def test_the_same_record_holds_no_event(self) -> None:
        assert diff(example("rowan-02"), example("rowan-02")) == ()

    def test_a_changed_value_replaces_and_a_missing_one_is_taken_away(self) -> None:
        old, new = five_year_old({"center_edge_angle_deg": 28.0}), five_year_old({"center_edge_angle_deg": 12.0})
        (event,) = entered(diff(old, new), old)
        assert event_words(event, old, PROTOCOL) == f"centre-edge angle left 12 deg on {new.visits[0].date}"
        assert set(apply(old, (event,)).visits[0].measurements) == set(new.visits[0].measurements)
        gone = child(visit(at_age(5), {"other.femur_length_mm": 260.0}))
        (left,) = told(child(visit(at_age(5), {"other.femur_length_mm": 260.0, "hip_mobile": True})), gone)
        assert left.endswith("removed")

    def test_operations_and_decisions_are_events(self) -> None:
        old = five_year_old()
        new = old.model_copy(
            update={
                "operations": (operation("femoral_lengthening", at_age(5.2), achieved_mm=48),),
                "decisions": (decision("decline", stage="contralateral_growth_arrest"),),
            }
        )
        words = told(old, new)
        assert words[0].startswith("femoral lengthening on ")
        assert words[0].endswith(", 48 mm")
        assert "decline contralateral_growth_arrest" in words[1]


class TestTwoWhoEnterAtATime:
    KNOWN = five_year_old().model_copy(
        update={
            "operations": (
                operation("femoral_lengthening", at_age(4), achieved_mm=48, complications=["deep_infection"]),
            )
        }
    )

    def done(self, **fields: object) -> Record:
        (before,) = self.KNOWN.operations
        return self.KNOWN.model_copy(update={"operations": (before.model_copy(update=fields),)})

    def test_an_operation_that_both_complete_is_one_with_what_both_entered(self) -> None:
        theirs = self.done(device_removed=at_age(4.6), complications=("deep_infection", "pin_site_infection"))
        own = self.done(achieved_mm=45.0, complications=("deep_infection", "hip_subluxation"))
        both = on_top(theirs, self.KNOWN, own)
        said = ("deep_infection", "pin_site_infection", "hip_subluxation")
        assert both == self.done(achieved_mm=45.0, device_removed=at_age(4.6), complications=said)

    def test_what_one_took_away_is_not_brought_back_by_the_other(self) -> None:
        theirs = self.done(device_removed=at_age(4.6))
        both = on_top(theirs, self.KNOWN, self.done(complications=()))
        assert both == self.done(device_removed=at_age(4.6), complications=())

    def test_an_operation_that_both_enter_is_one(self) -> None:
        known = five_year_old()
        theirs = self.done(complications=("pin_site_infection",))
        both = on_top(theirs, known, self.done(achieved_mm=50.0, complications=()))
        assert both == self.done(achieved_mm=50.0, complications=("pin_site_infection",))
        assert on_top(theirs, known, theirs) == theirs

    def test_operations_of_the_two_sides_stay_two(self) -> None:
        known = five_year_old()
        sides = [operation("guided_growth", at_age(4), side=side) for side in ("left", "right")]
        theirs, own = (known.model_copy(update={"operations": (one,)}) for one in sides)
        assert on_top(theirs, known, own).operations == tuple(sides)

    def test_where_nobody_else_changed_anything_ones_own_record_stands(self) -> None:
        own = self.done(achieved_mm=45.0)
        assert on_top(self.KNOWN, self.KNOWN, own) == own


class TestCauses:
    def test_a_hip_that_is_covered_now_takes_the_operation_out(self) -> None:
        record = example("rowan-02")
        new = seen_again(record, center_edge_angle_deg=26.0, acetabular_index_deg=18.0)
        changes = preview(Question(record, PROTOCOL, LATER), diff(record, new)).changes
        gate = next(c for c in changes if c.difference.kind == "gate" and "centre-edge" in c.difference.sentence)
        assert gate.because == (f"centre-edge angle left 26 deg on {LATER}",)

    def test_a_decision_is_named_for_what_it_does(self) -> None:
        record = example("rowan-02")
        said = decision("decline", date=LATER, by="family", stage="contralateral_growth_arrest")
        new = record.model_copy(update={"decisions": (*record.decisions, said)})
        changes = preview(Question(record, PROTOCOL, LATER), diff(record, new)).changes
        dropped = next(c for c in changes if c.difference.about == "contralateral_growth_arrest")
        assert dropped.difference.kind == "dropped"
        assert dropped.because == (f"decision of family on {LATER}: decline contralateral_growth_arrest",)

    def test_a_fact_that_changes_nothing_is_named_nowhere(self) -> None:
        record = example("rowan-02")
        said = decision("decline", date=LATER, by="family", stage="contralateral_growth_arrest")
        new = seen_again(record, foot_plantigrade="yes").model_copy(update={"decisions": (*record.decisions, said)})
        seen = preview(Question(record, PROTOCOL, LATER), diff(record, new))
        assert any(words.startswith("foot") for words in seen.entered)
        assert not any(words.startswith("foot") for change in seen.changes for words in change.because)

    def test_every_change_falls_away_without_its_causes(self) -> None:
        """The claim itself, checked: planning without the named facts, the change is not there or another one."""
        record = example("hazel-08")
        new = seen_again(record, center_edge_angle_deg=21.0, knee_flexion_contracture_deg=15.0)
        events = entered(diff(record, new), record)
        before = make_plan(Question(record, PROTOCOL, LATER), compared=False)
        seen = preview(Question(record, PROTOCOL, LATER), diff(record, new))
        assert seen.changes
        for change in seen.changes:
            rest = [one for one in events if event_words(one, record, PROTOCOL) not in change.because]
            without = make_plan(Question(apply(record, rest), PROTOCOL, LATER), compared=False)
            assert change.difference not in differences(before, without)

    def test_what_time_alone_changes_is_told_as_time(self) -> None:
        record = example("rowan-02")
        seen = preview(Question(record, PROTOCOL, datetime.date(2028, 11, 25)), (), since=ON)
        assert seen.changes
        assert {change.because for change in seen.changes} == {(TIME,)}

    def test_the_same_twice_changes_nothing(self) -> None:
        record = example("birch-04")
        assert preview(Question(record, PROTOCOL, ON), ()).changes == ()


class TestAskedBack:
    def test_a_bone_that_shrank_and_sides_that_were_swapped(self) -> None:
        from pathway.growth import growth_questions

        shrunk = child(
            visit(at_age(5), {"other.femur_length_mm": 260.0, "femur_length_mm": 170.0}),
            visit(at_age(5.5), {"other.femur_length_mm": 240.0, "femur_length_mm": 175.0}),
        )
        assert any("mm already." in question for question in growth_questions(shrunk, PROTOCOL))
        swapped = child(
            visit(at_age(5), {"other.femur_length_mm": 260.0, "femur_length_mm": 170.0}),
            visit(at_age(5.5), {"other.femur_length_mm": 175.0, "femur_length_mm": 266.0}),
        )
        assert any("swapped" in question for question in growth_questions(swapped, PROTOCOL))
        well = child(
            visit(at_age(5), {"other.femur_length_mm": 260.0, "femur_length_mm": 170.0}),
            visit(at_age(5.5), {"other.femur_length_mm": 268.0, "femur_length_mm": 175.0}),
        )
        assert not growth_questions(well, PROTOCOL)
