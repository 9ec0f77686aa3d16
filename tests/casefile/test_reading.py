"""A sound case file becomes a record: typed, with defaults filled in, each list in date order."""

from __future__ import annotations

import datetime

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from pathway.casefile import PREFERENCES, case_text, read_case
from pathway.problems import Problem
from pathway.record import Measurement, Missing, Record

CHILD = """\
schema_version = 1
[child]
id = "maple-03"
date_of_birth = 2022-03-14
sex = "girl"
affected_side = "left"
diagnosis = "congenital_femoral_deficiency"
"""
CASE = (
    CHILD
    + """
[[visit]]
date = 2024-09-18
  [visit.left]
  leg_length_discrepancy_mm = { value = 95, method = "block_test" }

[[visit]]
date = 2024-03-20
method = "standing_full_length_film"
skeletal_age_years = 1.9
note = "first visit"
  [visit.left]
  femur_length_mm = 101
  center_edge_angle_deg = { value = 12.5, method = "supine_hip_film", note = "hip flexed 20" }
  cruciate_ligaments = "absent"
  hip_mobile = true
  migration_percentage = { not_measured = "not_measurable", note = "no ossified head" }
  [visit.right]
  femur_length_mm = 172
  [visit.child]
  standing_height_mm = 860

[[operation]]
kind = "femoral_lengthening"
date = 2027-02-09
side = "left"
achieved_mm = 48
device_removed = 2027-08-30
complications = ["pin_site_infection"]

[[operation]]
kind = "contralateral_growth_arrest"
date = 2026-11-05
side = "right"
physes = ["distal_femur", "proximal_tibia"]

[[decision]]
date = 2027-10-01
by = "family"
kind = "block_dates"
from = 2028-06-01
to = 2028-09-01
reason = "a house move"
"""
)
FILM = "standing_full_length_film"


def _read(text, protocol) -> Record:
    answer = read_case(text, "case.toml", protocol)
    assert isinstance(answer, Record), [fault.sentence for fault in answer]
    return answer


def test_visits_and_operations_come_in_date_order(protocol) -> None:
    record = _read(CASE, protocol)
    assert [visit.date.isoformat() for visit in record.visits] == ["2024-03-20", "2024-09-18"]
    assert [one.kind for one in record.operations] == ["contralateral_growth_arrest", "femoral_lengthening"]


def test_a_finding_takes_the_method_of_its_visit_unless_it_has_its_own(protocol) -> None:
    first = _read(CASE, protocol).visits[0]
    assert first.measurements == (
        Measurement(finding="femur_length_mm", side="left", value=101.0, method=FILM),
        Measurement(
            finding="center_edge_angle_deg",
            side="left",
            value=12.5,
            method="supine_hip_film",
            note="hip flexed 20",
        ),
        Measurement(finding="cruciate_ligaments", side="left", value="absent", method=FILM),
        Measurement(finding="hip_mobile", side="left", value=True, method=FILM),
        Measurement(finding="femur_length_mm", side="right", value=172.0, method=FILM),
        Measurement(finding="standing_height_mm", side=None, value=860.0, method=FILM),
    )


def test_a_finding_that_was_not_measured_keeps_its_reason(protocol) -> None:
    first = _read(CASE, protocol).visits[0]
    assert first.missing == (
        Missing(finding="migration_percentage", side="left", why="not_measurable", note="no ossified head"),
    )


def test_a_visit_may_have_no_method_when_every_finding_names_its_own(protocol) -> None:
    second = _read(CASE, protocol).visits[1]
    assert (second.method, second.measurements[0].method) == ("", "block_test")


def test_a_whole_number_in_the_file_is_a_decimal_number_in_the_record(protocol) -> None:
    value = _read(CASE, protocol).visits[0].measurements[0].value
    assert type(value) is float


def test_an_operation_keeps_amount_device_plates_and_complications(protocol) -> None:
    arrest, lengthening = _read(CASE, protocol).operations
    assert arrest.physes == ("distal_femur", "proximal_tibia")
    assert lengthening.achieved_mm == 48
    assert lengthening.device_removed == datetime.date(2027, 8, 30)
    assert lengthening.complications == ("pin_site_infection",)


def test_blocked_dates_are_read_from_and_to(protocol) -> None:
    decision = _read(CASE, protocol).decisions[0]
    assert (decision.from_date, decision.to_date) == (datetime.date(2028, 6, 1), datetime.date(2028, 9, 1))


def test_a_child_without_visits_is_a_sound_case(protocol) -> None:
    record = _read(CHILD, protocol)
    assert (record.visits, record.operations, record.decisions) == ((), (), ())


def test_windows_line_ends_and_a_byte_order_mark_do_not_matter(protocol) -> None:
    assert _read("\ufeff" + CASE.replace("\n", "\r\n"), protocol) == _read(CASE, protocol)


@pytest.mark.parametrize("preference", PREFERENCES)
def test_every_preference_can_be_wished_for(preference, protocol) -> None:
    wish = f'by = "family"\nkind = "prefer"\nprefer = "{preference}"\nreason = "school"'
    (decision,) = _read(f"{CHILD}\n[[decision]]\ndate = 2025-01-01\n{wish}\n", protocol).decisions
    assert decision.prefer == preference


def test_one_repetition_of_a_stage_can_be_declined(protocol) -> None:
    wish = 'by = "family"\nkind = "decline"\nstage = "femoral_lengthening_3"\nreason = "school"'
    (decision,) = _read(f"{CHILD}\n[[decision]]\ndate = 2025-01-01\n{wish}\n", protocol).decisions
    assert decision.stage == "femoral_lengthening_3"


@pytest.mark.parametrize(
    "text",
    [
        "a = " + "[" * 4000,
        "a = " + "[" * 4000 + "]" * 4000,
        "\n".join(["a = " + "[" * 9000] * 3),
        "a = " + "{b = " * 1500,
        f"{CHILD}x = {'[' * 90}{']' * 90}",
        f"{CHILD}{'.'.join('a' * 4000)} = 1",
        f"{CHILD}[[visit]]\n[visit.left]\nfemur_length_mm = {'1' * 5000}",
        f"{CHILD}[[visit]]\n[visit.left]\nfemur_length_mm = {'1' * 4000}",
        f"{CHILD}[[visit]]\n[visit.left]\nfemur_length_mm = 1e999",
        f"{CHILD}{'[[visit]]' * 200_000}",
        CHILD * 20_000,
        "[[operation]]\n" * 20_000,
        "\x00",
        "a = '''",
        'a = """',
        "[",
        "=",
    ],
)
def test_hostile_texts_give_faults_not_crashes(text, protocol) -> None:
    answer = read_case(text, "case.toml", protocol)
    assert answer
    assert all(isinstance(fault, Problem) for fault in answer)


lines = st.sampled_from([*CASE.splitlines(), "[visit]", "[[visit]]", "x = [", "]", '"""', "visit = 3", "child.id = 1"])


@given(st.lists(lines, max_size=40).map("\n".join))
@example("[child]\n[[visit]]\n[[operation]]\n[[decision]]")
@example("visit = [{}]\noperation = [{}, {}]\ndecision = [{kind = []}]\nchild = {id = {}}")
def test_shuffled_lines_never_crash_and_every_fault_lies_inside_the_text(protocol, text) -> None:
    answer = read_case(text, "case.toml", protocol, on=datetime.date(2025, 1, 1))
    if not isinstance(answer, Record):
        assert answer
        numbers = [fault.line or 0 for fault in answer]
        assert numbers == sorted(numbers)
        assert all(0 <= number <= text.count("\n") + 1 for number in numbers)


@given(st.data())
def test_one_damaged_character_never_crashes(protocol, data) -> None:
    at = data.draw(st.integers(0, len(CASE) - 1))
    damage = data.draw(st.sampled_from(["", '"', "[", "]", "{", "}", "=", "\n", "#", ".", "-", "9", "e", "\\"]))
    answer = read_case(CASE[:at] + damage + CASE[at + 1 :], "case.toml", protocol)
    assert isinstance(answer, Record) or all(isinstance(fault, Problem) for fault in answer)


HAND = """
[[visit]]
date = 2034-03-14
"""


@pytest.mark.parametrize(
    ("written", "years", "method"),
    [
        ("skeletal_age_years = 12.5", 12.5, None),
        ('skeletal_age_years = 12.5\nskeletal_age_method = "hand_atlas"', 12.5, "hand_atlas"),
        # Sanders et al. 2008, stage 3 of girls; Dimeglio et al. 2005, half-moon of girls.
        ('skeletal_stage = 3\nskeletal_age_method = "hand_stages"', 11.5, "hand_stages"),
        ('skeletal_stage = "3"\nskeletal_age_method = "hand_stages"', 11.5, "hand_stages"),
        ('skeletal_stage = "half-moon"\nskeletal_age_method = "elbow_stages"', 11.5, "elbow_stages"),
    ],
)
def test_a_skeletal_age_is_read_with_its_method_or_as_a_stage(protocol, written, years, method) -> None:
    record = read_case(f"{CHILD}{HAND}{written}\n", "case", protocol)
    assert isinstance(record, Record)
    (visit,) = record.visits
    assert (visit.skeletal_age_years, visit.skeletal_age_method) == (years, method)
    assert read_case(case_text(record), "again", protocol) == record


@pytest.mark.parametrize(
    ("written", "says"),
    [
        ('skeletal_age_method = "hand_atlas"', "expected it beside a skeletal age"),
        ('skeletal_age_years = 12\nskeletal_age_method = "atlas"', 'did you mean "hand_atlas"'),
        ('skeletal_stage = "half-moon"', 'a method that reads stages: "hand_stages" or'),
        ('skeletal_stage = "half-moon"\nskeletal_age_method = "hand_atlas"', "a method that reads stages"),
        ('skeletal_stage = "halfmoon"\nskeletal_age_method = "elbow_stages"', 'did you mean "half-moon"'),
        ('skeletal_stage = 8\nskeletal_age_method = "hand_stages"', "write one of: 1; 2; 3; 4; 5; 6; 7"),
        ('skeletal_stage = true\nskeletal_age_method = "hand_stages"', "that has an age in a girl"),
        ('skeletal_stage = 3\nskeletal_age_years = 12\nskeletal_age_method = "hand_stages"', "remove one of the two"),
        ('[visit.child]\nskeletal_age_method = "hand_atlas"', "move it up, beside the date of the visit"),
    ],
)
def test_a_skeletal_age_that_cannot_be_read_is_told(protocol, written, says) -> None:
    faults = read_case(f"{CHILD}{HAND}{written}\n", "case", protocol)
    assert isinstance(faults, tuple)
    assert any(says in fault.sentence for fault in faults), [fault.sentence for fault in faults]
