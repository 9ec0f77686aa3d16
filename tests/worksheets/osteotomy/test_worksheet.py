"""The worksheet of the upper femur: what a surgeon reads from the record, the protocol and what is set by hand."""

from __future__ import annotations

import math

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pathway.problems import Refused
from pathway.protocol.load import load_protocol, with_overlay
from pathway.protocol.overlay import Entry, Overlay
from pathway.worksheets.sheet import CHECK_THE_RADIOGRAPH
from tests.worksheets.osteotomy import flat
from tests.worksheets.osteotomy.sheets import FINDINGS, sheet, table


def told(made, word):
    return [warning for warning in made.warnings if word in warning.text]


def test_inputs_say_where_they_come_from():
    made = sheet(target_version_deg=10)
    measured = made.input("neck_shaft_angle_deg")
    assert (measured.value, measured.origin, str(measured.measured_on)) == (90, "visit", "2026-11-18")
    assert made.input("blade_margin_mm").sources == ("common_practice",)
    assert made.input("target_version_deg").origin == "by_hand"


def test_the_sheet_carries_the_caution_and_asks_for_the_radiograph():
    made = sheet()
    assert made.cautions[0] == next(c.text for c in load_protocol().cautions if c.head)
    assert made.cautions[-1] == CHECK_THE_RADIOGRAPH
    assert {"srisaarn_2019", "valgus_series_1997", "recurrence_risk_46", "nsa_observers"} <= {
        s.id for s in made.sources
    }


def test_the_larger_of_two_wishes_is_taken():
    made = sheet(target_version_deg=14)  # 90 to 125 asks for 35, 60 to 38 for 22
    assert made.line("target neck-shaft angle").value == pytest.approx(125)
    assert made.line("epiphyseal angle after").value == pytest.approx(25, abs=1)  # in space, version 14
    steeper = sheet(hilgenreiner_epiphyseal_angle_deg=75, target_version_deg=14)
    assert steeper.line("target neck-shaft angle").value == pytest.approx(127, abs=1)
    # In space: the angle that is aimed at brings the growth plate just to the limit that asks for it.
    assert steeper.line("epiphyseal angle after").value == pytest.approx(38, abs=1e-4)
    aimed = steeper.line("target neck-shaft angle").value
    assert steeper.line("neck-shaft angle after").value == pytest.approx(aimed, abs=1e-5)


def test_the_three_published_limits_are_all_shown_and_one_may_be_set():
    made = sheet(target_neck_shaft_deg=111, femoral_version_deg=0, target_version_deg=0)  # flat: 60 - 21 deg
    held = {limit: made.line(f"published limit {limit} deg").value for limit in (35, 38, 41)}
    assert held == {35: "4 deg short of it", 38: "1 deg short of it", 41: "reached"}
    strict = sheet(epiphyseal_limit_deg=20, femoral_version_deg=0, target_version_deg=0)
    assert strict.line("target neck-shaft angle").value == pytest.approx(130)


@pytest.mark.parametrize("adduction", [0, 1, 25, 60])
def test_adduction_is_a_gate_and_never_makes_the_correction_smaller(adduction):
    made = sheet(hip_adduction_deg=adduction)
    assert made.line("target neck-shaft angle").value == pytest.approx(125)
    # The plane of a neck turned forward by 14 deg shows a little more of it in the front view.
    assert made.numbers["adduction_needed_deg"] == pytest.approx(35 + 20, abs=1.5)
    assert bool(told(made, "free on the table after the release")) == (adduction < 55)


def test_too_little_adduction_after_the_release_stops():
    assert told(sheet(hip_adduction_deg=10, hip_adduction_after_release_deg=40), "release more, or correct less")
    assert not told(sheet(hip_adduction_deg=10, hip_adduction_after_release_deg=70), "adduction")


def test_unknown_adduction_is_said():
    assert told(sheet(without=("hip_adduction_deg",)), "it is not known before the release")


def test_the_angle_now_is_a_band_because_observers_differ_and_the_angle_after_has_the_range_of_the_model():
    made = sheet()
    now, after = made.line("true neck-shaft angle"), made.line("neck-shaft angle after")
    assert now.spread == pytest.approx((now.value - 6, now.value + 6))
    held = made.ranges["neck_shaft_after_deg"]
    assert after.spread == (held.low, held.high)


def test_each_target_stands_with_what_it_asks_for_in_space():
    made = sheet(femoral_version_deg=-30, hip_adduction_deg=50)
    for target, after, slope, needed, free in table(made, "Correction that each target needs").rows:
        alone = sheet(femoral_version_deg=-30, target_neck_shaft_deg=after).numbers
        assert slope == pytest.approx(alone["epiphyseal_after_deg"], abs=1e-6)
        assert needed == pytest.approx(alone["adduction_needed_deg"], abs=1e-6)
        assert free == ("yes" if needed <= 50 else "no")
        if target.startswith("epiphyseal angle"):
            assert slope == pytest.approx(float(target.split()[-1]), abs=1e-4)


def test_adduction_left_is_what_the_front_view_of_the_shaft_takes():
    made = sheet(femoral_version_deg=-30, hip_adduction_deg=50)
    taken = made.numbers["adduction_needed_deg"] - made.input("adduction_left_deg").value
    assert made.line("adduction left").value == pytest.approx(50 - taken)


@pytest.mark.parametrize("version", [-35, 0, 14, 40])
@pytest.mark.parametrize("flexion", [0, 25])
def test_no_two_lines_of_the_sheet_tell_different_numbers_of_one_thing(version, flexion):
    made = sheet(
        femoral_version_deg=version,
        proximal_femur_flexion_deg=flexion,
        neck_width_mm=17,
        blade_width_mm=8,
        blade_thickness_mm=3,
    )
    numbers = made.numbers
    for label, name in (
        ("neck-shaft angle after", "neck_shaft_after_deg"),
        ("epiphyseal angle after", "epiphyseal_after_deg"),
        ("front film, kneecap to the front", "film_neck_shaft_after_deg"),
        ("longest blade", "blade_mm"),
        ("transverse cut below the implant's corner", "cut_below_corner_mm"),
        ("gained from head to knee", "length_gain_mm"),
    ):
        assert made.line(label).value == pytest.approx(numbers[name], abs=1e-5), label
    bend = made.line("angle between the cut surfaces").value
    assert made.line("bend between old and new shaft, in its own plane").value == pytest.approx(bend)
    plate = table(made, "Goals side by side").rows[0]
    assert plate[1] == 0
    assert (plate[2], plate[4] / 100, plate[6]) == pytest.approx(
        (numbers["plate_shift_mm"], numbers["contact_share"], numbers["length_gain_mm"]), abs=1e-5
    )
    for name, base, gap, gained, contact, _ in table(made, "Wedge options").rows:
        if base > 60:
            continue
        alone = sheet(
            femoral_version_deg=version, proximal_femur_flexion_deg=flexion, neck_width_mm=17, wedge_mm=base
        ).numbers
        assert base + gap == pytest.approx(20 * math.tan(math.radians(bend))), name
        assert gained == pytest.approx(alone["length_gain_mm"], abs=1e-5), name
        assert contact / 100 == pytest.approx(alone["contact_share"], abs=1e-5), name


def test_without_version_and_flexion_the_flat_formulas_come_out():
    made = sheet(femoral_version_deg=0, target_version_deg=0, implant_deg=125, hilgenreiner_epiphyseal_angle_deg=60)
    cut = made.line("cut below the intersection of the axes").value
    assert cut == pytest.approx(flat.entry_below_crossing_mm(90, 20) + 4)
    assert made.line("epiphyseal angle after").value == pytest.approx(60 - 35)
    assert made.line("angle between the cut surfaces").value == pytest.approx(35)
    assert table(made, "Wedge options").rows[2][1] == pytest.approx(flat.full_wedge_mm(20, 35))
    base = table(made, "Goals side by side").rows[1]
    assert base[2] == pytest.approx(flat.neck_base_shift_mm(cut, 35))
    for row in table(made, "Neck-shaft angle by implant and wire").rows:
        angle = next(item.angle_deg for item in load_protocol().implants if item.label == row[0])
        for column, off in zip(row[1:], (-30, -20, -15, -10, -5, 0, 5, 10, 15, 20, 30), strict=True):
            # A wire n degrees under the neck adds n.
            assert column == pytest.approx(angle + off)


def test_a_cut_set_from_the_crossing_is_the_cut_of_the_whole_sheet():
    made = sheet(cut_below_crossing_mm=20)
    assert made.line("cut below the intersection of the axes").value == pytest.approx(20)
    below = made.numbers["cut_below_corner_mm"]
    assert made.line("transverse cut below the implant's corner").value == pytest.approx(below, abs=1e-5)
    same = sheet(cut_below_corner_mm=below)
    assert same.numbers["length_gain_mm"] == pytest.approx(made.numbers["length_gain_mm"], abs=1e-4)


def test_an_epiphyseal_angle_set_for_the_model_is_the_one_of_every_line():
    made = sheet(epiphyseal_angle_deg=70, femoral_version_deg=0, target_version_deg=0)
    assert made.line("epiphyseal angle after").note == "now 70; in space"
    assert made.line("epiphyseal angle after").value == pytest.approx(35)


def test_the_true_angle_is_worked_out_from_a_film_of_a_flexed_and_turned_hip():
    # True 100, version 20, flexed 30: the film shows 109.0 (computed vector).
    made = sheet(
        without=("neck_shaft_angle_deg",),
        apparent_neck_shaft_angle_deg=109.0,
        femoral_version_deg=20,
        film_hip_flexion_deg=30,
    )
    assert made.line("true neck-shaft angle").value == pytest.approx(100, abs=0.1)
    assert made.line("in the position of the old film").value > 120


def test_a_film_that_does_not_fit_the_true_angle_is_said():
    assert told(
        sheet(apparent_neck_shaft_angle_deg=130, neck_shaft_angle_deg=90), "more than the difference between observers"
    )


def test_the_correction_stands_in_the_surgeons_terms():
    made = sheet(femoral_version_deg=44, proximal_femur_flexion_deg=20)
    labels = [line.label for line in made.section("The correction").lines]
    assert labels[:3] == ["valgus", "extension", "distal piece outward"]
    assert "in no order" in made.section("The correction").words[0]
    assert made.line("valgus").value == pytest.approx(made.numbers["valgus_deg"])


def test_the_frame_of_the_flexion_stands_beside_the_numbers():
    """One target reads as other numbers in the other frame."""
    one, two = (
        sheet(femoral_version_deg=-25, flexion_frame=frame, target_neck_shaft_deg=130)
        for frame in ("shaft_side", "neck_plane")
    )
    assert "true side view" in one.section("The correction").words[0]
    assert "plane of neck and shaft" in two.section("The correction").words[0]
    assert abs(one.numbers["valgus_deg"] - two.numbers["valgus_deg"]) > 1
    assert one.numbers["neck_shaft_after_deg"] == pytest.approx(two.numbers["neck_shaft_after_deg"], abs=0.01)


def test_a_wire_as_it_lies_is_used_or_moved():
    made = sheet(found_wire_front_deg=85, found_wire_side_deg=10)
    ways = table(made, "With the wire as it lies, best first")
    assert 1 <= len(ways.rows) <= 3
    missed = [abs(row[1] - 125) for row in ways.rows]
    assert missed == sorted(missed)
    assert "front view" in made.line("or move the wire by").value
    assert "The wire as it lies" not in [section.title for section in sheet().sections]


def test_numbers_that_need_a_size_nobody_measured_are_null_and_never_absent():
    made = sheet(without=("femoral_shaft_width_mm", "neck_wire_length_mm", "femoral_neck_length_mm"))
    assert made.numbers["plate_shift_mm"] is None
    assert made.numbers["blade_mm"] is None
    assert made.numbers["valgus_deg"] == pytest.approx(sheet().numbers["valgus_deg"], abs=1e-6)
    assert set(made.numbers) == set(sheet().numbers)


def test_one_cut_is_given_when_asked_for():
    assert "single cut for the whole correction, tilt" not in [
        line.label for line in sheet().section("The correction").lines
    ]
    assert sheet(single_cut="yes", femoral_version_deg=40).line("single cut for the whole correction, tilt").value > 0


def test_a_target_out_of_reach_stops():
    made = sheet(
        neck_shaft_angle_deg=130, femoral_version_deg=0, proximal_femur_flexion_deg=70, target_neck_shaft_deg=155
    )
    assert [warning.stop for warning in told(made, "no valgus reaches 155 deg; the nearest is")] == [True]
    assert "Not known: the plan is refused." in made.section("What the film will show afterwards").words
    assert made.line("neck-shaft angle after").value == "not known"


def test_every_implant_has_the_wire_and_slot_that_the_model_finds_for_it():
    made = sheet(target_neck_shaft_deg=130, proximal_femur_flexion_deg=20)
    rows = table(made, "Implants available").rows
    assert {row[0] for row in rows} == {item.label for item in load_protocol().implants}
    for item in load_protocol().implants:
        alone = sheet(target_neck_shaft_deg=130, proximal_femur_flexion_deg=20, implant_deg=item.angle_deg).numbers
        (row,) = (row for row in rows if row[0] == item.label)
        found = [alone[name] for name in ("wire_front_deg", "wire_side_deg", "slot_deg")]
        assert row[1:4] == pytest.approx(tuple(found), abs=1e-4)


def test_along_the_planned_wire_the_planned_implant_makes_the_target_and_flat_each_the_difference():
    made = sheet(target_neck_shaft_deg=130, femoral_version_deg=0, target_version_deg=0, implant_deg=130)
    for row in table(made, "Implants available").rows:
        angle = next(item.angle_deg for item in load_protocol().implants if item.label == row[0])
        assert row[6] == pytest.approx(angle)


def test_every_implant_and_wire_is_listed_and_along_the_neck_each_gives_its_angle():
    every = table(sheet(target_neck_shaft_deg=130, femoral_version_deg=-20), "Neck-shaft angle by implant and wire")
    for row in every.rows:
        angle = next(item.angle_deg for item in load_protocol().implants if item.label == row[0])
        assert row[6] == pytest.approx(angle)
    assert " ".join(column.title for column in every.columns[1:]) == "-30 -20 -15 -10 -5 0 +5 +10 +15 +20 +30"
    assert len(every.rows) == len(load_protocol().implants)


def test_implants_at_hand_may_be_set_or_come_with_the_clinics_overlay():
    made = sheet(implants_deg="95,120")
    assert {row[0] for row in table(made, "Neck-shaft angle by implant and wire").rows} == {
        "implant 95 deg",
        "blade plate 120 deg",
        "screw plate 120 deg",
    }
    ours = load_protocol()
    off = [
        Entry("implants", i.id, {"id": i.id, "off": True, "because": "not in the store"}, "c.toml")
        for i in ours.implants
    ]
    own = {
        "id": "own_115",
        "label": "own plate",
        "design": "blade_plate",
        "angle_deg": 115,
        "lengths_mm": [25],
        "because": "in the store",
        "provenance": "practice",
        "sources": ["common_practice"],
    }
    clinic = with_overlay(ours, Overlay("Test clinic", "1", (*off, Entry("implants", "own_115", own, "c.toml"))))
    rows = table(sheet(protocol=clinic), "Neck-shaft angle by implant and wire").rows
    assert [row[0] for row in rows] == ["own plate"]


def test_a_blade_longer_than_the_wire_leaves_room_for_is_refused():
    made = sheet(neck_wire_length_mm=40)
    longest = made.line("longest blade").value
    assert 25 < longest < 32
    assert (made.line("blade of 25 mm").value, made.line("blade of 32 mm").value) == ("fits", "too long")
    assert float(made.line("blade of 25 mm").note.split()[0]) == pytest.approx(
        sheet(neck_wire_length_mm=40, blade_mm=25).numbers["blade_margin_physis_mm"], abs=0.06
    )
    short = sheet(neck_wire_length_mm=30)
    assert [warning.stop for warning in told(short, "too long")] == [True]


def test_a_blade_of_no_length_shows_no_margin_where_the_neck_on_the_wire_is_not_measured():
    made = sheet(without=("neck_wire_length_mm",), found_wire_front_deg=85, found_wire_side_deg=10, neck_width_mm=17)
    for row in table(made, "With the wire as it lies, best first").rows:
        assert row[4:] == (None, None)
    assert made.line("blade to the cortex of the neck").value == "not known"


def test_the_slot_gives_its_extension():
    # With the blade square to the shaft and the neck in the front plane the chisel's turn is the extension.
    made = sheet(
        femoral_version_deg=0,
        target_version_deg=0,
        proximal_femur_flexion_deg=20,
        target_neck_shaft_deg=90,
        implant_deg=90,
    )
    assert made.line("slot turned, lower end backward").value == pytest.approx(20, abs=0.01)


def test_the_shift_stands_beside_the_bone_width_with_the_ways_out():
    made = sheet(cut_below_corner_mm=25, implant_offset_mm=-6)
    shifted = made.section("Shift of the shaft").lines[0]
    assert shifted.value == pytest.approx(made.numbers["plate_shift_mm"])
    assert "20 mm wide" in shifted.note
    assert made.numbers["contact_share"] < 0.39
    assert [
        line.label for line in made.section("Shift of the shaft").lines if line.label.startswith("alternative")
    ] == [
        "alternative: a higher cut",
        "alternative: less correction",
        "alternative: in stages",
    ]
    assert told(made, "cut higher")
    assert len(table(made, "Goals side by side").rows) == 3


def test_no_contact_at_all_stops():
    assert [one.stop for one in told(sheet(cut_below_corner_mm=30, implant_offset_mm=-20), "cut higher")] == [True]


def test_a_cut_near_the_implant_needs_little_shift():
    made = sheet()
    assert made.numbers["contact_share"] > 0.8
    assert not told(made, "cut higher")


def test_length_gained_comes_off_the_difference():
    made = sheet()
    gain = made.line("gained from head to knee").value
    assert gain == pytest.approx(made.numbers["length_gain_mm"])
    assert gain > 0
    assert made.line("difference after").value == pytest.approx(60 - gain)


@pytest.mark.parametrize("name", ["femoral_shaft_width_mm", "femur_length_mm"])
def test_a_missing_size_of_the_bone_leaves_its_part_out_and_says_so(name):
    made = sheet(without=(name,))
    assert "Not calculated" in made.section("Shift of the shaft").words[0]
    assert told(made, f"--set {name}=")
    # What is drawn ends below the cut: only the shaft's width is needed for it.
    assert bool(made.drawings) == (name == "femur_length_mm")


def test_the_length_on_the_wire_stands_in_for_the_necks():
    made = sheet(without=("femoral_neck_length_mm",))
    assert made.input("femoral_neck_length_mm").value == 38
    assert "is used" in made.input("femoral_neck_length_mm").note
    assert made.input("femoral_neck_length_mm").stands_in == made.input("neck_wire_length_mm").label
    by_hand = sheet(without=("femoral_neck_length_mm",), neck_wire_length_mm=28)
    assert by_hand.input("femoral_neck_length_mm").value == 28
    assert by_hand.input("femoral_neck_length_mm").origin == "none"


@pytest.mark.parametrize(
    ("without", "given_by_hand", "words"),
    [
        (("neck_shaft_angle_deg",), {}, "neck_shaft_angle_deg: found no value"),
        ((), {"neck_shaft_angle_deg": 300}, "'300'"),
        ((), {"neck_shaft": 100}, "neck_shaft_angle_deg"),
        ((), {"cut_below_crossing_mm": 100, "femur_length_mm": 90}, "less than"),
        ((), {"cut_below_crossing_mm": 30, "cut_below_corner_mm": 4}, "one of the two"),
        ((), {"cut_below_crossing_mm": 0, "neck_shaft_angle_deg": 130}, "where the implant's corner lies"),
        (("femoral_shaft_width_mm",), {"cut_below_crossing_mm": 30}, "no corner to count from"),
        (
            (),
            {"femur_length_mm": 35, "femoral_neck_length_mm": 80, "neck_shaft_angle_deg": 110},
            "longer than the bone",
        ),
        (
            ("neck_shaft_angle_deg",),
            {"apparent_neck_shaft_angle_deg": 120, "femoral_version_deg": 60, "film_leg_rotation_deg": 40},
            "version and outward rotation",
        ),
    ],
)
def test_inputs_that_cannot_be_are_refused_with_what_to_do(without, given_by_hand, words):
    with pytest.raises(Refused, match=words) as raised:
        sheet(without=without, **given_by_hand)
    assert all(fault.found and fault.expected and fault.remedy for fault in raised.value.problems)


def _plausible(name):
    low, high = load_protocol().finding(name).plausible
    return st.floats(low, high)


NUMBERS = ("proximal_femur_flexion_deg", *(name for name in FINDINGS if name != "leg_length_discrepancy_mm"))


@settings(suppress_health_check=[HealthCheck.too_slow], deadline=None)
@given(st.fixed_dictionaries({name: _plausible(name) for name in NUMBERS}), st.sampled_from(["left", "right"]))
def test_every_output_is_finite_for_every_plausible_input_or_the_error_is_clear(values, side):
    try:
        made = sheet(side, single_cut="yes", **values)
    except Refused as problem:
        assert all(fault.remedy for fault in problem.problems)
        return
    for drawing in made.drawings:
        points = [point for shape in drawing.shapes for point in shape.points]
        assert all(math.isfinite(part) for point in points for part in point)
    numbers = [line.value for section in made.sections for line in section.lines]
    assert all(math.isfinite(value) for value in numbers if isinstance(value, float))


def test_left_and_right_give_the_same_sheet_but_for_the_drawing():
    left, right = (sheet(side, femoral_version_deg=-20, proximal_femur_flexion_deg=15) for side in ("left", "right"))
    for one, other in zip(left.sections, right.sections, strict=True):
        assert [line.label for line in one.lines] == [line.label for line in other.lines]
        for a, b in zip(one.lines, other.lines, strict=True):
            same = b.value if not isinstance(b.value, float) else pytest.approx(b.value, abs=1e-6)
            assert a.value == same
    assert (left.side, right.side) == ("left", "right")
