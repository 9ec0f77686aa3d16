"""The sheet of the axis: from points on a film, or from angles, to which bone, how much and where."""

from __future__ import annotations

import cmath
import datetime
import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pathway.problems import Refused
from pathway.rule_engine.findings import Known
from pathway.worksheets.axis import worksheet
from pathway.worksheets.axis.inputs import POINTS
from pathway.worksheets.case import Case
from pathway.worksheets.sheet import Sheet
from tests.worksheets.axis.built_leg import (
    BELOW_TIBIA,
    FEMUR_MM,
    LDTA,
    MLDFA,
    MPTA,
    TIBIA_MM,
    Built,
    straight,
    way,
)
from tests.worksheets.axis.test_bends import bent_femur, bent_tibia
from tests.worksheets.cases import case

USUAL = {
    "normal_mldfa_deg": MLDFA,
    "normal_mpta_deg": MPTA,
    "normal_ldta_deg": LDTA,
    "normal_mlpfa_deg": 90,
    "shaft_to_axis_deg": 7,
}
LENGTHS = ("femur_length_mm", "tibia_length_mm")
SHARP = {"reading_error_mm": 0.1}
"""Points marked so well that what was built comes back."""


def of_side(side: str) -> Case:
    of = case("osteotomy")
    record = of.record.model_copy(update={"child": of.record.child.model_copy(update={"affected_side": side})})
    # The built legs are longer than this child's: what was measured of them would be asked back.
    findings = {key: found for key, found in of.findings.items() if key[0] not in LENGTHS}
    return replace(of, record=record, stage=None, plan=None, findings=findings)


def on_film(built: Built, side: str, *, per_unit: float = 1.0, up: bool = False) -> dict[str, str]:
    """Return a built leg as its points on a film: the left leg's inside is to the viewer's left."""
    mirror = 1 if side == "right" else -1

    def words(*points: complex) -> str:
        flat = []
        for point in points:
            flat += [(500 + mirror * point.real) / per_unit, (100 + (1 if up else -1) * point.imag) / per_unit]
        return ",".join(f"{number:.6f}" for number in flat)

    told = {name: words(point) for name, point in built.points.items()}
    told |= {"femur_shaft": words(*built.femur)} if built.femur else {}
    told |= {"tibia_shaft": words(*built.tibia)} if built.tibia else {}
    return told


def sheet(built: Built, side: str = "left", **more: object) -> Sheet:
    told = {**on_film(built, side), **{name: str(value) for name, value in {**USUAL, **SHARP, **more}.items()}}
    return worksheet(of_side(side), told)


def number(of: Sheet, name: str) -> float:
    assert of.numbers is not None
    value = of.numbers[name]
    assert isinstance(value, float)
    return value


class TestFromPoints:
    """Points on a film give angles, bone, size and level."""

    def test_a_bend_of_each_bone_comes_back(self) -> None:
        built = bent_femur(15, 80)
        built.turn(-1j * FEMUR_MM - 2j + way(MLDFA - MPTA) * 100, -9, BELOW_TIBIA, 9, 9)
        # The whole leg below the femur's apex went with it: the tibia's own apex lies on its axis as it is now.
        of = sheet(bent_femur(15, 80))
        assert number(of, "femur_bend_1_deg") == pytest.approx(15, abs=1e-4)
        assert number(of, "femur_bend_1_from_knee_mm") == pytest.approx(80, abs=1e-3)
        assert of.numbers is not None
        assert of.numbers["tibia_bend_1_deg"] is None

    def test_left_mirrors_right(self) -> None:
        one, other = sheet(bent_tibia(14, 70), "left"), sheet(bent_tibia(14, 70), "right")
        assert one.numbers == pytest.approx(other.numbers, nan_ok=True)

    @pytest.mark.parametrize(
        ("per_unit", "up", "seen"), [(0.143, False, "front"), (1.0, True, "front"), (2.5, True, "back")]
    )
    def test_pixels_direction_of_y_and_the_side_of_the_film_do_not_matter(self, per_unit, up, seen) -> None:
        built = bent_tibia(14, 70)
        side = "left" if seen == "front" else "right"
        told = on_film(built, side, per_unit=per_unit, up=up)
        film = {"mm_per_unit": f"{per_unit}", "y_down": "no" if up else "yes", "seen_from": seen}
        given = {**told, **film, **{name: str(value) for name, value in {**USUAL, **SHARP}.items()}}
        of = worksheet(of_side("left"), given)
        assert number(of, "tibia_bend_1_deg") == pytest.approx(14, abs=1e-3)
        assert number(of, "tibia_bend_1_from_knee_mm") == pytest.approx(70, abs=0.02)

    def test_a_straight_leg_has_no_deformity(self) -> None:
        of = sheet(straight((0.1, 0.3), (0.1, 0.4, 0.6, 0.9)))
        assert "Every joint angle that was read is usual for the age." in of.section("Which bone").words
        assert of.numbers is not None
        assert [of.numbers[f"{bone}_bend_1_deg"] for bone in ("femur", "tibia")] == [None, None]
        assert of.refused == ()

    def test_the_reading_error_of_each_angle_stands_in_its_own_column(self) -> None:
        made = worksheet(of_side("left"), on_film(straight(), "left"))
        titles = [[c.title for c in t.columns] for section in made.sections for t in section.tables]
        assert any("reading error ± (95 %)" in of for of in titles)

    def test_two_bends_that_nobody_marked_stop_the_sheet(self) -> None:
        built = straight()
        start, shin = -1j * FEMUR_MM - 2j, way(MLDFA - MPTA)
        built.turn(start + shin * 150, -16, BELOW_TIBIA, 0, 0)
        built.turn(start + shin * 50, 20, BELOW_TIBIA, 0, 0)
        of = sheet(built)
        assert any(warning.stop and "tibia_shaft" in warning.text for warning in of.warnings)
        assert of.refused is not None
        assert "tibia_apex_outside" in of.refused

    def test_without_the_upper_femur_its_apex_is_asked_for(self) -> None:
        built = bent_femur(15, 80)
        del built.points["trochanter_tip"]
        built.femur = []
        of = sheet(built)
        assert of.refused is not None
        assert "femur_upper_end_not_marked" in of.refused
        assert number(of, "mldfa_deg") > MLDFA

    def test_a_cut_off_the_apex_is_told_with_its_shift(self) -> None:
        """30 mm from an apex of 15 deg: the chord of the turn, 2 x 30 x sin 7.5 deg."""
        of = sheet(bent_femur(15, 80), femur_cut_mm=110, bone_width_mm=20)
        shift = of.line("Femur: hinge at the apex, shift of the ends").value
        assert shift == pytest.approx(60 * math.sin(math.radians(7.5)), abs=1e-3)
        assert of.line("Femur: cut from the apex").value == pytest.approx(30, abs=1e-3)

    def test_what_was_read_goes_back_into_the_record_with_its_method(self) -> None:
        (words,) = sheet(bent_femur(15, 80)).section("For the record").words
        assert "limb-pathway followup rowan-02 --set left.lateral_distal_femoral_angle_deg=" in words
        assert words.endswith("--method standing_full_length_film")

    def test_the_drawing_is_to_scale_and_says_what_it_shows(self) -> None:
        (drawn,) = sheet(bent_tibia(14, 70)).drawings
        axis = next(shape for shape in drawn.shapes if shape.role == "axis").points
        thigh = next(shape for shape in drawn.shapes if shape.role == "shaft").points
        assert math.dist(thigh[0], thigh[-1]) == pytest.approx(FEMUR_MM, abs=0.01)
        assert axis[0] == thigh[0]
        assert "tibia 14 deg varus, 70 mm from the knee" in drawn.alternative

    def test_a_wider_error_of_marking_widens_every_range(self) -> None:
        sharp, rough = (sheet(bent_tibia(20, 70), reading_error_mm=error) for error in (0.5, 2.0))
        for name in ("mldfa_deg", "mpta_deg", "mad_mm", "tibia_whole_deg"):
            assert sharp.ranges is not None
            assert rough.ranges is not None
            one, other = sharp.ranges[name], rough.ranges[name]
            assert other.high - other.low > 2 * (one.high - one.low)


class TestFromAngles:
    """Measured angles alone tell which bone and how much, never where."""

    def test_which_bone(self) -> None:
        told = {"mldfa_deg": "96", "mpta_deg": "88", "jlca_deg": "1", **{k: str(v) for k, v in USUAL.items()}}
        of = worksheet(of_side("left"), told)
        assert any("femur at the knee: varus" in words for words in of.section("Which bone").words)
        assert number(of, "mtfa_deg") == pytest.approx(96 - 88 + 1)
        assert of.numbers is not None
        assert of.numbers["femur_bend_1_from_knee_mm"] is None

    def test_an_angle_outside_by_less_than_its_reading_is_not_settled(self) -> None:
        high = MLDFA + (90 - 87.5)
        told = {"mldfa_deg": f"{high + 5.2}", **{k: str(v) for k, v in USUAL.items()}}
        near = {"mldfa_deg": f"{high + 0.3 + 3.5 - 2.5}", **{k: str(v) for k, v in USUAL.items()}}
        crooked, doubtful = (worksheet(of_side("left"), given) for given in (told, near))
        assert any("varus" in words for words in crooked.section("Which bone").words)
        assert not any("femur at the knee: varus" in words for words in doubtful.section("Which bone").words)

    def test_nothing_given_says_what_to_mark(self) -> None:
        of = worksheet(replace(of_side("left"), findings={}), {})
        assert "hip_centre=x,y" in of.section("Axis").words[0]

    def test_an_infant_whose_knee_is_already_as_it_will_be_has_no_deformity(self) -> None:
        """At 16 months 95 deg is usual and 88 is what every child grows into: neither is called crooked."""
        of = of_side("left")
        born = of.on.replace(year=of.on.year - 1) - datetime.timedelta(days=120)
        child = of.record.child.model_copy(update={"date_of_birth": born})
        infant = replace(of, record=of.record.model_copy(update={"child": child}))
        for measured in ("88", "95"):
            words = worksheet(infant, {"mldfa_deg": measured}).section("Which bone").words
            assert not any("femur at the knee" in said for said in words), measured
        words = worksheet(infant, {"mldfa_deg": "104"}).section("Which bone").words
        assert any("femur at the knee: varus" in said for said in words)

    def test_below_the_age_of_the_norm_it_is_said(self) -> None:
        of = worksheet(of_side("left"), {"mpta_deg": "80"})
        assert any("before 8 years" in warning.text for warning in of.warnings)


GOOD = {**on_film(bent_femur(15, 80), "left")}
BAD_NUMBERS = ("", "x", "1", "1,2,3", "nan,1", "1,inf", "1;2", "1,2,", "--", "1e400,2")
BAD: list[tuple[dict[str, str], str]] = [
    *(({name: text}, name) for name in (*list(POINTS)[:2], "ankle_medial") for text in BAD_NUMBERS),
    *(({"femur_shaft": text}, "femur_shaft") for text in (*BAD_NUMBERS, "1,2", "1,2,3,4,5,6", "500,100,500,100")),
    *(({"tibia_shaft_side": text}, "tibia_shaft_side") for text in ("1,2,3", "a,b,c,d", "0,9,0,1")),
    *(({"mm_per_unit": text}, "mm_per_unit") for text in ("0", "-1", "1000", "nan", "mm")),
    *(({"reading_error_mm": text}, "reading_error_mm") for text in ("0", "-1", "50", "inf")),
    *(({"y_down": text}, "y_down") for text in ("maybe", "0", "down")),
    *(({"seen_from": text}, "seen_from") for text in ("above", "")),
    *(({"side_film_front": text}, "side_film_front") for text in ("up", "front")),
    *(({"mldfa_deg": text}, "mldfa_deg") for text in ("20", "200", "nan", "x")),
    *(({"normal_mpta_deg": text}, "normal_mpta_deg") for text in ("10", "200", "x")),
    *(({"femur_cut_mm": text}, "femur_cut_mm") for text in ("-5", "5000", "x")),
    ({"y_down": "no"}, "hip_centre"),
    ({"seen_from": "back"}, "femoral_condyle_lateral"),
    ({"femoral_condyle_lateral": GOOD["femoral_condyle_medial"]}, "femoral_condyle_lateral"),
    ({"hip_centre": GOOD["ankle_medial"]}, "hip_centre"),
    ({"hip_center": "1,2"}, "--set"),
    ({"knee": "1,2"}, "--set"),
]


@pytest.mark.parametrize(("change", "field"), BAD, ids=[f"{name}-{at}" for at, (_, name) in enumerate(BAD)])
def test_a_bad_input_is_one_sentence_that_names_its_field(change: dict[str, str], field: str) -> None:
    with pytest.raises(Refused) as caught:
        worksheet(of_side("left"), {**GOOD, **change})
    for found in caught.value.problems:
        assert found.key == field
        assert found.expected
        assert found.remedy
        assert found.sentence.count("Traceback") == 0


class TestWhatASurgeonTripsOver:
    """Slips of the hand that give a plausible picture: they are refused or told."""

    def known(self, femur_mm: float, tibia_mm: float) -> Case:
        of = of_side("left")
        measured = {
            (name, "affected"): Known(value, 1.0, of.on, "film")
            for name, value in zip(LENGTHS, (femur_mm, tibia_mm), strict=True)
        }
        return replace(of, findings={**of.findings, **measured})

    def told(self, **more: object) -> dict[str, str]:
        return {**on_film(bent_tibia(20, 70), "left"), **{k: str(v) for k, v in {**USUAL, **SHARP, **more}.items()}}

    def test_a_film_that_is_not_calibrated_is_refused(self) -> None:
        with pytest.raises(Refused) as caught:
            worksheet(self.known(FEMUR_MM / 7, TIBIA_MM / 7), self.told())
        assert caught.value.problems[0].key == "mm_per_unit"

    def test_a_film_a_little_off_is_asked_back_and_offers_nothing_for_the_record(self) -> None:
        of = worksheet(self.known(FEMUR_MM / 1.2, TIBIA_MM), self.told())
        assert any(warning.stop and "calibration" in warning.text for warning in of.warnings)
        assert "followup" not in of.section("For the record").words[0]
        fine = worksheet(self.known(FEMUR_MM, TIBIA_MM), self.told())
        assert not any("calibration" in warning.text for warning in fine.warnings)

    @pytest.mark.parametrize(
        ("level", "stop", "said"),
        [(5, True, "growth plate"), (195, True, "growth plate"), (30, False, ""), (110, False, "half the width")],
    )
    def test_a_cut_is_held_against_growth_plates_and_the_width_of_the_bone(self, level, stop, said) -> None:
        of = worksheet(of_side("left"), self.told(tibia_cut_mm=level, bone_width_mm=20))
        assert any(warning.stop for warning in of.warnings if "cut" in warning.text.lower()) == stop
        assert any(said in warning.text for warning in of.warnings)

    def test_a_cut_outside_the_bone_is_refused(self) -> None:
        with pytest.raises(Refused) as caught:
            worksheet(of_side("left"), self.told(tibia_cut_mm=250))
        assert caught.value.problems[0].key == "tibia_cut_mm"

    def test_sizes_have_their_way(self) -> None:
        """Varus of the tibia: the lower end goes outward; a wedge opens on the inner side, hinged on the outer."""
        of = worksheet(of_side("left"), self.told(tibia_cut_mm=100, bone_width_mm=20))
        assert "the distal end goes laterally" in of.line("Tibia: hinge at the apex, shift of the ends").note
        assert "hinge on the lateral cortex" in of.line("Tibia: wedge opens medially by").note
        above = worksheet(of_side("left"), self.told(tibia_cut_mm=40, bone_width_mm=20))
        assert "the distal end goes medially" in above.line("Tibia: hinge at the apex, shift of the ends").note

    def test_the_shift_goes_the_way_the_lower_end_is_turned(self) -> None:
        """Built: the end of the lower piece 30 mm below the apex, turned straight about it, moves outward (x < 0)."""
        end = -30j * cmath.rect(1, math.radians(20))
        assert (end * cmath.rect(1, math.radians(-20)) - end).real < 0

    @pytest.mark.parametrize(
        ("change", "field"),
        [
            ({"trochanter_tip": "460,100"}, "trochanter_tip"),
            ({"tibial_plateau_lateral": "530,90", "tibial_plateau_medial": "470,90"}, "tibial_plateau_lateral"),
        ],
    )
    def test_landmarks_that_no_leg_has_are_refused(self, change: dict[str, str], field: str) -> None:
        with pytest.raises(Refused) as caught:
            worksheet(of_side("left"), {**self.told(), **change})
        assert caught.value.problems[0].key == field

    def test_pieces_in_the_wrong_order_or_of_another_bone_are_refused(self) -> None:
        built = straight(tibia_at=(0.1, 0.3, 0.6, 0.9))
        swapped = on_film(built, "left")
        numbers = swapped["tibia_shaft"].split(",")
        swapped["tibia_shaft"] = ",".join((*numbers[4:], *numbers[:4]))
        other = {**on_film(straight(femur_at=(0.1, 0.4)), "left")}
        other["tibia_shaft"] = other.pop("femur_shaft")
        for points, words in ((swapped, "above the end of the one before"), (other, "beyond the joints of the tibia")):
            with pytest.raises(Refused) as caught:
                worksheet(of_side("left"), points)
            assert caught.value.problems[0].key == "tibia_shaft"
            assert words in caught.value.problems[0].found

    def test_a_level_that_the_film_does_not_tell_is_not_told(self) -> None:
        of = worksheet(of_side("left"), {**self.told(reading_error_mm=3), "tibia_cut_mm": "70"})
        table = of.section("Apices on the front film").tables[0]
        assert any("level not known" in str(row[-1]) and row[3] is None for row in table.rows)
        assert any("nothing is said of its cut" in warning.text for warning in of.warnings)


@pytest.mark.parametrize("lacking", [name for name in POINTS if name != "trochanter_tip"])
def test_a_landmark_that_is_lacking_is_asked_for(lacking: str) -> None:
    with pytest.raises(Refused) as caught:
        worksheet(of_side("left"), {name: text for name, text in GOOD.items() if name != lacking})
    assert caught.value.problems[0].key == lacking


@given(st.lists(st.tuples(st.floats(0, 1000), st.floats(0, 1000)), min_size=7, max_size=7))
def test_any_seven_points_give_a_sheet_or_a_sentence(points: list[tuple[float, float]]) -> None:
    names = [name for name in POINTS if name != "trochanter_tip"]
    told = {name: f"{x},{y}" for name, (x, y) in zip(names, points, strict=True)}
    try:
        of = worksheet(of_side("left"), told)
    except Refused as refusal:
        assert all(found.sentence for found in refusal.problems)
    else:
        assert all(value is None or math.isfinite(value) for value in (of.numbers or {}).values())
