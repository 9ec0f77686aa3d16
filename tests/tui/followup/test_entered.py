"""What is typed at a follow-up is held to the rules of a case file, field by field; nothing typed breaks the form."""

from __future__ import annotations

import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pathway.casefile import case_text, read_case, read_events, values_of, visit_table
from pathway.casefile.write import in_order
from pathway.events import FollowUp, apply
from pathway.protocol.question import Question
from pathway.record import Record
from pathway.rule_engine.findings import findings_on
from tests.plans import DAY, files, plan, record, rules
from tui.followup.asked import all_findings, asked_next
from tui.followup.choices import choosing
from tui.followup.entered import WAIVE, Entered, decides, entered, told
from tui.followup.fields import Offer, fields, labels
from tui.followup.options import Option


def offer(child: str = "rowan-02") -> Offer:
    known, made = record(child), plan(child)
    first = asked_next(Question(known, rules(), DAY), made)
    every = {asked.name: asked for asked in all_findings(Question(known, rules(), DAY))}
    return Offer(known, rules(), DAY, first, every, choosing(known, made, rules()))


ROWAN = offer()


def enter(typed: dict[str, str], of: Offer = ROWAN) -> Entered:
    return entered(Question(of.record, of.protocol, of.on), typed, of.every, of.choosing)


def test_lengths_typed_are_those_that_the_verb_sets() -> None:
    typed = {"left.femur_length_mm": "121", "right.femur_length_mm": "195.5"}
    words = [f"{name}={value}" for name, value in typed.items()]
    values = values_of(words)
    assert isinstance(values, dict)
    tables = {"visit": [visit_table(DAY, "standing_full_length_film", values)]}
    read = read_events(tables, ROWAN.record.child, "", rules(), DAY)
    assert isinstance(read, FollowUp)
    assert enter(typed).events == read.events
    assert enter(typed).record == apply(ROWAN.record, read.events)


@pytest.mark.parametrize(
    ("name", "typed", "said"),
    [
        ("left.femur_length_mm", "12.1", "found 12.1, expected about 119 mm; did you mean 12.1 cm (121 mm)?"),
        ("left.femur_length_mm", "1210", "found 1210, expected 35 to 620 mm; did you mean 121, a tenth of it"),
        ("left.femur_length_mm", "12,1", "write the decimal point as a point"),
        ("left.femur_length_mm", "long", 'found "long", expected a number from 35 to 620 mm; type digits only'),
        ("left.femur_length_mm", "nan", "write the number as measured"),
        ("right.femur_length_mm", "40 mm", "more than the"),
        ("skeletal_age_years", "30", "did you mean 2.5: years, not months"),
        ("child.active_infection", "perhaps", "expected yes or no"),
        ("left.hip_joint", "gone", "expected"),
        ("date", "tomorrow", "expected a date such as 2031-09-01"),
        ("operation.kind", "appendix", "expected"),
        ("operation.achieved_mm", "50", "expected which operation was done"),
        ("decision.reason", "because", "expected which decision"),
    ],
)
def test_what_cannot_be_is_said_under_its_field(name, typed, said) -> None:
    found = enter({name: typed})
    assert found.record is None
    assert any(said in sentence for sentence in found.wrong.values())
    assert set(found.wrong) <= {name, name.partition(".")[0] + ".kind"}


@pytest.mark.parametrize(
    ("typed", "name"),
    [
        ({"date": "2027-01-01", "left.femur_length_mm": "121"}, "date"),
        ({"date": "2020-01-01", "left.femur_length_mm": "121"}, "date"),
        ({"operation.kind": "hip prep", "operation.date": "2027-01-01"}, "operation.date"),
        ({"operation.kind": "hip prep", "operation.side": "right"}, "operation.side"),
        ({"operation.kind": "hip prep", "operation.device_removed": "2026-01-01"}, "operation.device_removed"),
        ({"operation.kind": "hip prep", "operation.achieved_mm": "-1"}, "operation.achieved_mm"),
        ({"decision.kind": "decline"}, "decision.about"),
        ({"decision.kind": "decline", "decision.about": "femoral lengthening 1"}, "decision.reason"),
    ],
)
def test_a_fault_of_the_rest_stands_under_its_own_field(typed, name) -> None:
    assert list(enter(typed).wrong) == [name]


def test_a_length_that_shrank_is_asked_back_and_not_refused() -> None:
    found = enter({"right.femur_length_mm": "150"})
    assert found.record is not None
    assert found.look_again


def test_a_finding_keeps_its_own_way_of_measuring() -> None:
    found = enter({"left.knee_flexion_deg": "120"}).record
    assert found is not None
    of_day = next(visit for visit in found.visits if visit.date == DAY)
    assert [item.method for item in of_day.measurements] == ["examination"]


@pytest.mark.parametrize(("typed", "mm"), [("18.3 cm", 183.0), ("18.3cm", 183.0), ("183 mm", 183.0), ("183", 183.0)])
def test_a_length_is_typed_in_mm_or_in_cm_with_its_unit(typed, mm) -> None:
    found = enter({"left.femur_length_mm": typed}).record
    assert found is not None
    assert next(m.value for v in found.visits if v.date == DAY for m in v.measurements) == mm
    shown = {field.name: field for field in fields(ROWAN, 0, {"left.femur_length_mm": typed}, {})}
    assert shown["left.femur_length_mm"].means in ("", "183")


def test_a_number_that_would_fit_as_cm_is_asked_back_and_the_answer_is_offered() -> None:
    typed = {"left.femur_length_mm": "18.3"}
    assert enter(typed).record is None
    shown = {field.name: field for field in fields(ROWAN, 0, typed, {})}
    (answer,) = shown["left.femur_length_mm"].options
    assert answer.words == "18.3 cm"
    assert enter({"left.femur_length_mm": answer.words}).record is not None


def test_a_gain_that_would_fit_the_plan_as_cm_is_asked_back() -> None:
    typed = {"operation.kind": "femoral lengthening", "operation.achieved_mm": "3.8"}
    assert "did you mean 3.8 cm (38 mm)?" in enter(typed).wrong["operation.achieved_mm"]
    for text, mm in (("3.8 cm", 38.0), ("3.8 mm", 3.8), ("38", 38.0)):
        found = enter({**typed, "operation.achieved_mm": text}).record
        assert found is not None
        assert found.operations[-1].achieved_mm == mm


@pytest.mark.parametrize(
    ("typed", "years"), [("2y6m", 2.5), ("2 y 6 m", 2.5), ("2 6/12", 2.5), ("2.5", 2.5), ("3y", 3.0)]
)
def test_a_skeletal_age_is_typed_in_years_and_months_and_what_was_understood_is_shown(typed, years) -> None:
    found = enter({"skeletal_age_years": typed}).record
    assert found is not None
    assert found.visits[-1].skeletal_age_years == years
    shown = {field.name: field for field in fields(ROWAN, 0, {"skeletal_age_years": typed}, {})}
    whole, months = divmod(round(12 * years), 12)
    assert shown["skeletal_age_years"].means == f"{whole} y {months} m = {years:g}"


def test_a_finding_that_was_measured_is_never_called_unmeasured_though_the_last_attempt_gave_nothing() -> None:
    declined = enter({"left.femur_length_mm": "declined"}).record
    assert declined is not None
    again = all_findings(Question(declined, rules(), DAY))
    asked = next(item for item in again if item.name == "left.femur_length_mm")
    assert (asked.gap, asked.last.value if asked.last else None) == ("was declined", 119.0)
    of = Offer(declined, rules(), DAY, (), {item.name: item for item in again}, ROWAN.choosing)
    shown = {field.name: field for field in fields(of, 0, {"find": "femur length"}, {})}["left.femur_length_mm"]
    assert "At the latest visit it was declined, before that it was measured." in shown.wanted
    assert "Not measured before" not in shown.wanted
    assert shown.origin.startswith("was 119")


@pytest.mark.parametrize("child", files())
def test_only_what_no_visit_has_is_called_not_measured_before(child) -> None:
    of = offer(child)
    known = {
        f"{'child' if one.side is None else one.side}.{one.finding}"
        for visit in of.record.visits
        for one in (*visit.measurements, *visit.missing)
    }
    for name, asked in of.every.items():
        shown = next(field for field in fields(of, 0, {name: "1"}, {}) if field.name == name)
        assert not ("Not measured before" in shown.wanted and (name in known or asked.last is not None)), name


def test_all_choices_are_offered_and_methods_by_their_names() -> None:
    shown = {field.name: field for part in range(3) for field in fields(ROWAN, part, {}, {})}
    assert [one.value for one in shown["operation.complications"].options] == list(rules().complications)
    assert shown["operation.complications"].several
    assert [one.words for one in shown["method"].options] == [method.label for method in rules().methods]


def test_a_skeletal_age_is_asked_how_it_was_read() -> None:
    assert "skeletal_age_method" not in {field.name for field in fields(ROWAN, 0, {}, {})}
    shown = {field.name: field for field in fields(ROWAN, 0, {"skeletal_age_years": "2.5"}, {})}
    assert shown["skeletal_age_method"].offered == ""
    found = enter({"skeletal_age_years": "2.5", "skeletal_age_method": "hand atl"}).record
    assert found is not None
    assert (found.visits[-1].skeletal_age_years, found.visits[-1].skeletal_age_method) == (2.5, "hand_atlas")
    unsaid = enter({"skeletal_age_years": "2.5"}).record
    assert unsaid is not None
    assert unsaid.visits[-1].skeletal_age_method is None
    alone = enter({"skeletal_age_method": "hand atlas"})
    assert list(alone.wrong) == ["skeletal_age_method"]
    assert list(enter({"skeletal_age_years": "2.5", "skeletal_age_method": "palm"}).wrong) == ["skeletal_age_method"]


def test_a_skeletal_age_is_read_as_last_time_where_nothing_else_is_said() -> None:
    hazel = offer("hazel-08")
    shown = {field.name: field for field in fields(hazel, 0, {"skeletal_age_years": "9.5"}, {})}
    assert shown["skeletal_age_method"].offered == "hand atlas"
    found = enter({"skeletal_age_years": "9.5"}, hazel)
    assert found.record is not None
    assert found.record.visits[-1].skeletal_age_method == "hand_atlas"
    assert "skeletal age 9.5 years (hand atlas) on 2026-11-25" in found.facts


@pytest.mark.parametrize(
    ("name", "typed", "why"),
    [
        ("left.femur_length_mm", "declined", "declined"),
        ("left.hip_joint", "not measurable", "not_measurable"),
        ("child.active_infection", "decl", "declined"),
    ],
)
def test_a_finding_that_was_asked_for_and_not_obtained_is_kept_with_the_reason(name, typed, why) -> None:
    found = enter({name: typed}).record
    assert found is not None
    of_day = next(visit for visit in found.visits if visit.date == DAY)
    assert [(gap.finding, gap.why) for gap in of_day.missing] == [(name.partition(".")[2], why)]
    assert of_day.measurements == ()


def test_an_operation_of_the_record_is_completed_not_done_twice() -> None:
    hazel = offer("hazel-08")
    typed = {"operation.kind": "femoral lengthening of", "operation.complications": "deep"}
    found = enter(typed, hazel).record
    assert found is not None
    assert len(found.operations) == len(hazel.record.operations)
    (changed,) = set(found.operations) - set(hazel.record.operations)
    (before,) = set(hazel.record.operations) - set(found.operations)
    assert before.complications == ("hip_subluxation", "pin_site_infection")
    assert changed == before.model_copy(update={"complications": (*before.complications, "deep_infection")})


def test_what_an_operation_of_the_record_has_is_offered_in_its_fields() -> None:
    shown = {
        field.name: field for field in fields(offer("hazel-08"), 1, {"operation.kind": "femoral lengthening of"}, {})
    }
    assert shown["operation.achieved_mm"].offered == "52"
    assert set(shown["operation.complications"].offered.split(", ")) == {"hip subluxation", "pin site infection"}


def test_a_decision_is_of_who_decided_last_unless_said_and_never_silently_the_family() -> None:
    declined = enter({"decision.kind": "decline", "decision.about": "growth arrest", "decision.reason": "no"}).record
    gate = "femoral lengthening: acetabular"
    team = enter({"decision.kind": "waive", "decision.about": gate, "decision.reason": "seen in theatre"}).record
    assert declined is not None
    assert team is not None
    assert [declined.decisions[-1].by, team.decisions[-1].by] == ["team", "team"]
    assert [decides(kind, "family") for kind in ("decline", "prefer", WAIVE)] == ["family", "family", "team"]
    assert team.decisions[-1].gate == "femoral_lengthening.socket_level"


def test_one_sentence_tells_everything_entered() -> None:
    found = enter({"left.femur_length_mm": "121", "right.femur_length_mm": "195"})
    assert told(found.facts) == "Follow-up entered: length of the femur left 121 mm on 2026-11-25, and 1 more"


def test_the_same_as_is_known_is_nothing_new() -> None:
    typed = {"date": "2026-11-18", "left.femur_length_mm": "119"}
    assert enter(typed) == Entered()


@pytest.mark.parametrize("child", files())
def test_what_the_plan_waits_for_comes_first_and_lengths_before_all(child) -> None:
    of = offer(child)
    names = [asked.name for asked in of.first]
    assert len(set(names)) == len(names)
    assert {name.partition(".")[2] for name in names[:4]} == {"femur_length_mm", "tibia_length_mm"}
    wanted = {q.finding for q in plan(child).open_questions}
    assert {f for f in wanted if not rules().finding(f).derived_from} <= {name.rpartition(".")[2] for name in names}
    assert set(names) <= set(of.every)
    assert all(asked.why for asked in of.first)


def test_what_is_out_of_date_is_asked_for_with_the_reason() -> None:
    later = DAY + datetime.timedelta(days=800)
    known, made = record("rowan-02"), plan("rowan-02")
    old = [
        key
        for key, fact in findings_on(Question(known, rules(), later)).items()
        if getattr(fact, "why", "") == "out_of_date"
    ]
    assert old
    asked = {item.rule.id: item for item in asked_next(Question(known, rules(), later), made)}
    for finding, _ in old:
        entered_as = rules().finding(finding).derived_from or (finding,)
        assert set(entered_as) <= set(asked) or rules().finding(finding).derived


def test_any_finding_is_found_by_a_part_of_its_name_and_stays_once_typed() -> None:
    found = fields(ROWAN, 0, {"find": "knee fl"}, {})
    names = [field.name for field in found]
    assert "left.knee_flexion_deg" in names[names.index("find") :]
    typed = {"find": "", "left.knee_flexion_deg": "120"}
    names = [field.name for field in fields(ROWAN, 0, typed, {})]
    assert names.index("left.knee_flexion_deg") < names.index("find")


def test_a_part_of_a_choice_is_shown_as_what_it_stands_for() -> None:
    typed = {"left.hip_joint": "red", "left.femur_length_mm": "decl", "operation.kind": "hip prep"}
    shown = {f.name: f for part in range(3) for f in fields(ROWAN, part, typed, {})}
    assert shown["left.femur_length_mm"].means == "declined"
    assert shown["operation.kind"].means == "Hip preparation"
    found = {f.name: f for f in fields(ROWAN, 0, {**typed, "find": "hip joint"}, {})}
    assert found["left.hip_joint"].means == "reduced"


NAMES = sorted(labels(ROWAN))
TEXTS = st.one_of(
    st.text(max_size=12),
    st.floats(allow_nan=True, allow_infinity=True).map(str),
    st.integers(-50, 700).map(str),
    st.dates(datetime.date(2019, 1, 1), datetime.date(2040, 1, 1)).map(str),
    st.sampled_from(
        ["yes", "no", "normal", "left", "hip prep", "decline", "femoral", "declined", "waive a gate", "not measurable"]
    ),
)


@given(st.dictionaries(st.sampled_from(NAMES), TEXTS, max_size=5))
def test_whatever_is_typed_is_a_sound_record_or_is_said_under_a_field(typed) -> None:
    found = enter(typed)
    if found.record is None:
        assert set(found.wrong) <= {*NAMES, ""}
        assert all(
            ("found" in sentence and "expected" in sentence) or "could be" in sentence
            for sentence in found.wrong.values()
        )
        return
    assert not found.wrong
    assert isinstance(found.record, Record)
    again = read_case(case_text(found.record), "again", rules(), DAY)
    assert again == in_order(found.record)
    assert found.record != ROWAN.record


@given(st.dictionaries(st.sampled_from(NAMES), TEXTS, max_size=5), st.integers(0, 2))
def test_the_fields_hold_what_was_typed_in_them(typed, part) -> None:
    shown = {field.name: field for field in fields(ROWAN, part, typed, {})}
    for name, text in typed.items():
        if name in shown:
            assert shown[name].value == text
            assert all(isinstance(option, Option) for option in shown[name].options)


def test_the_device_of_a_lengthening_is_offered_by_its_bone_and_kept_with_the_operation() -> None:
    typed = {"operation.kind": "Femoral lengthening", "operation.date": "2026-11-20"}
    shown = {field.name: field for field in fields(ROWAN, 1, typed, {})}
    offered = [option.value for option in shown["operation.device"].options]
    assert "femoral_internal_nail" in offered
    assert "tibial_internal_nail" not in offered
    named = enter({**typed, "operation.device": "internal lengthening nail (femur)"}).record
    assert named is not None
    assert named.operations[-1].device == "femoral_internal_nail"
    unnamed = enter(typed).record
    assert unnamed is not None
    assert unnamed.operations[-1].device is None


def test_an_operation_that_lengthens_no_bone_offers_no_device() -> None:
    shown = [field.name for field in fields(ROWAN, 1, {"operation.kind": "Hip preparation"}, {})]
    assert "operation.device" not in shown
