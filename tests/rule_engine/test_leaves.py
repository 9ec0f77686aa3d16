"""One comparison: its boundaries, its words, its margin, and what it does with what is not known."""

from __future__ import annotations

import math

import pytest

from pathway.rule_engine.conditions import ClassFact, judge
from pathway.rule_engine.findings import Known, Unknown
from tests.rule_engine.made_facts import MEASURED, condition, facts, known

ANGLE = "center_edge_angle_deg"
PREDICTED = "predicted_discrepancy_at_maturity_mm"
SCHEME = "femoral_mobile_hip_1998"


class TestBoundaries:
    """at least and at most include the threshold, above and below leave it out."""

    @pytest.mark.parametrize(
        ("comparison", "value", "state", "margin"),
        [
            ("at_least", 20.0, "holds", 0.0),
            ("at_least", math.nextafter(20, 0), "fails", 0.0),
            ("at_least", 17.0, "fails", -3.0),
            ("at_least", 26.0, "holds", 6.0),
            ("above", 20.0, "fails", 0.0),
            ("above", math.nextafter(20, 30), "holds", 0.0),
            ("above", 12.0, "fails", -8.0),
            ("above", 28.0, "holds", 8.0),
            ("at_most", 20.0, "holds", 0.0),
            ("at_most", math.nextafter(20, 30), "fails", 0.0),
            ("at_most", 12.0, "holds", 8.0),
            ("at_most", 28.0, "fails", -8.0),
            ("below", 20.0, "fails", 0.0),
            ("below", math.nextafter(20, 0), "holds", 0.0),
            ("below", 12.0, "holds", 8.0),
            ("below", 28.0, "fails", -8.0),
        ],
    )
    def test_a_number(self, comparison, value, state, margin, protocol) -> None:
        verdict = judge(condition(finding=ANGLE, **{comparison: 20}), facts({ANGLE: value}), protocol)
        assert verdict.state == state
        assert verdict.margin == pytest.approx(margin, abs=1e-9)

    @pytest.mark.parametrize(("comparison", "state"), [("at_least", "holds"), ("above", "fails")])
    def test_an_age(self, comparison, state, protocol) -> None:
        verdict = judge(condition(quantity="age_years", **{comparison: 5}), facts(age_years=5.0), protocol)
        assert verdict.state == state

    @pytest.mark.parametrize(("value", "state"), [("reduced", "holds"), ("subluxed", "fails")])
    def test_a_choice(self, value, state, protocol) -> None:
        verdict = judge(condition(finding="hip_joint", equals="reduced"), facts({"hip_joint": value}), protocol)
        assert (verdict.state, verdict.margin) == (state, None)

    @pytest.mark.parametrize(("value", "state"), [("none", "holds"), ("mild", "holds"), ("moderate", "fails")])
    def test_one_of_several_choices(self, value, state, protocol) -> None:
        test = condition(finding="knee_instability", one_of=["none", "mild"])
        assert judge(test, facts({"knee_instability": value}), protocol).state == state

    @pytest.mark.parametrize(
        ("value", "wanted", "state"), [(True, True, "holds"), (False, False, "holds"), (True, False, "fails")]
    )
    def test_a_flag(self, value, wanted, state, protocol) -> None:
        test = condition(finding="hip_mobile", equals=wanted)
        assert judge(test, facts({"hip_mobile": value}), protocol).state == state

    def test_the_other_leg_is_looked_at_where_the_rule_says_so(self, protocol) -> None:
        test = condition(finding=ANGLE, leg="other", above=20)
        verdict = judge(test, facts({ANGLE: 12.0}, other={ANGLE: 31.0}), protocol)
        assert verdict.state == "holds"
        assert "of the other leg" in verdict.sentence


class TestWords:
    """A verdict can be read aloud."""

    def test_value_day_and_what_was_asked(self, protocol) -> None:
        verdict = judge(condition(finding=ANGLE, above=20), facts({ANGLE: 12.0}), protocol)
        assert verdict.sentence == "centre-edge angle 12 deg on 2026-11-18"
        assert verdict.test == "centre-edge angle more than 20 deg"
        assert (verdict.value, verdict.sd, verdict.measured_on, verdict.method) == (
            12.0,
            4.0,
            MEASURED,
            "supine_hip_film",
        )

    @pytest.mark.parametrize(
        ("comparison", "words"),
        [("at_least", "at least 20 deg"), ("at_most", "at most 20 deg"), ("below", "less than 20 deg")],
    )
    def test_each_comparison(self, comparison, words, protocol) -> None:
        verdict = judge(condition(finding=ANGLE, **{comparison: 20}), facts({ANGLE: 12.0}), protocol)
        assert verdict.test == f"centre-edge angle {words}"

    def test_choices_and_flags_are_spoken_not_spelt(self, protocol) -> None:
        test = condition(finding="proximal_femur_continuity", one_of=["bone", "mobile_pseudarthrosis"])
        held = facts({"proximal_femur_continuity": "mobile_pseudarthrosis", "hip_mobile": False})
        assert judge(test, held, protocol).test.endswith("bone or mobile pseudarthrosis")
        assert judge(test, held, protocol).sentence.endswith("mobile pseudarthrosis on 2026-11-18")
        assert " no on 2026-11-18" in judge(condition(finding="hip_mobile", equals=True), held, protocol).sentence


class TestNearTheThreshold:
    """A value within the reading error of the threshold asks for a second reading; the state stands."""

    @pytest.mark.parametrize("value", [16.0, 18.0, 20.0, 24.0])
    def test_within_one_error(self, value, protocol) -> None:
        verdict = judge(condition(finding=ANGLE, above=20), facts({ANGLE: known(value, sd=4.0)}), protocol)
        assert verdict.sentence.endswith("within the measurement error of ±4: repeat the measurement")

    @pytest.mark.parametrize("value", [15.9, 24.1, 40.0])
    def test_beyond_it(self, value, protocol) -> None:
        verdict = judge(condition(finding=ANGLE, above=20), facts({ANGLE: known(value, sd=4.0)}), protocol)
        assert "repeat" not in verdict.sentence

    def test_a_finding_without_an_error_never_asks(self, protocol) -> None:
        verdict = judge(condition(finding="foot_rays", at_least=3), facts({"foot_rays": known(3.0, sd=0.0)}), protocol)
        assert "repeat" not in verdict.sentence


class TestNotKnown:
    """A finding without a value that counts is unknown, names itself, and keeps the old value."""

    def test_what_was_measured_in_part_is_not_called_unmeasured(self, protocol) -> None:
        needs = "it needs femur of both legs from one visit"
        part = facts({"femur_length_ratio": Unknown("never_measured", because=needs)})
        verdict = judge(condition(finding="femur_length_ratio", above=0.5), part, protocol)
        assert (verdict.state, verdict.why_unknown) == ("unknown", "never_measured")
        assert verdict.sentence.endswith(f"cannot be worked out yet ({needs})")

    @pytest.mark.parametrize(
        ("why", "words"),
        [
            ("never_measured", "was never measured"),
            ("out_of_date", "is out of date"),
            ("not_measurable", "could not be measured"),
            ("declined", "was declined"),
        ],
    )
    def test_each_kind_in_words(self, why, words, protocol) -> None:
        verdict = judge(condition(finding=ANGLE, above=20), facts({ANGLE: Unknown(why)}), protocol)
        assert verdict.state == "unknown"
        assert verdict.why_unknown == why
        assert verdict.sentence == f"centre-edge angle {words}"
        assert set(verdict.asks) == {ANGLE}
        assert verdict.margin is None

    def test_a_finding_that_is_not_even_listed_was_never_measured(self, protocol) -> None:
        verdict = judge(condition(finding=ANGLE, above=20), facts(), protocol)
        assert (verdict.state, verdict.why_unknown) == ("unknown", "never_measured")

    def test_the_value_that_went_out_of_date_is_kept(self, protocol) -> None:
        old = Unknown("out_of_date", Known(26.0, 4.0, MEASURED, "supine_hip_film"), "measured 14 months ago")
        verdict = judge(condition(finding=ANGLE, above=20), facts({ANGLE: old}), protocol)
        assert (verdict.value, verdict.measured_on) == (26.0, MEASURED)
        assert verdict.sentence.endswith("(measured 14 months ago)")


class TestMeasuredAtAll:
    """A rule may ask only that a finding is known, whatever its value."""

    @pytest.mark.parametrize("value", [-20.0, 0.0, 35.0])
    def test_any_value_holds(self, value, protocol) -> None:
        verdict = judge(
            condition(finding="femoral_version_deg", known=True), facts({"femoral_version_deg": value}), protocol
        )
        assert (verdict.state, verdict.value, verdict.margin) == ("holds", value, None)

    @pytest.mark.parametrize("why", ["never_measured", "out_of_date", "declined"])
    def test_no_value_is_unknown_and_never_fails(self, why, protocol) -> None:
        held = facts({"femoral_version_deg": Unknown(why)})
        verdict = judge(condition(finding="femoral_version_deg", known=True), held, protocol)
        assert (verdict.state, verdict.asks) == ("unknown", ("femoral_version_deg",))


class TestPredicted:
    """A predicted value holds when enough of the possible futures hold."""

    TEN = (10.0, 20.0, 30.0, 40.0, 50.0, 60.0, 70.0, 80.0, 90.0, 100.0)

    @pytest.mark.parametrize(
        ("test", "state"),
        [
            ({"above": 50, "chance": 0.5}, "holds"),
            ({"above": 50, "chance": 0.51}, "fails"),
            ({"above": 60, "chance": 0.5}, "fails"),
            ({"at_least": 60, "chance": 0.5}, "holds"),
            ({"above": 20, "chance": 0.8}, "holds"),
            ({"above": 20, "chance": 0.81}, "fails"),
            ({"at_most": 50, "chance": 0.5}, "holds"),
            ({"below": 50, "chance": 0.5}, "fails"),
            ({"below": 100, "chance": 0.9}, "holds"),
            ({"at_least": 10, "chance": 1.0}, "holds"),
        ],
    )
    def test_the_share_of_futures_against_the_chance_asked(self, test, state, protocol) -> None:
        verdict = judge(condition(quantity=PREDICTED, **test), facts(predicted={PREDICTED: self.TEN}), protocol)
        assert verdict.state == state
        assert (verdict.margin >= 0) if state == "holds" else (verdict.margin <= 0)

    def test_without_a_chance_one_half_is_meant(self, protocol) -> None:
        held = facts(predicted={PREDICTED: self.TEN})
        assert judge(condition(quantity=PREDICTED, above=50), held, protocol).state == "holds"
        assert judge(condition(quantity=PREDICTED, above=60), held, protocol).state == "fails"

    def test_the_margin_is_that_of_the_future_on_which_the_chance_turns(self, protocol) -> None:
        held = facts(predicted={PREDICTED: self.TEN})
        verdict = judge(condition(quantity=PREDICTED, above=50, chance=0.8), held, protocol)
        # Eight of ten futures lie at 30 or more: 30 would have to lie above 50.
        assert (verdict.state, verdict.margin) == ("fails", -20.0)

    def test_median_range_and_chance_are_told(self, protocol) -> None:
        verdict = judge(
            condition(quantity=PREDICTED, above=50, chance=0.5), facts(predicted={PREDICTED: self.TEN}), protocol
        )
        assert verdict.value == 55.0
        assert "chance of more than 50 mm: 50 of 100" in verdict.sentence
        assert verdict.test == "predicted difference at maturity more than 50 mm with a chance of at least 50 of 100"

    def test_without_lengths_it_is_unknown_and_asks_for_them(self, protocol) -> None:
        verdict = judge(condition(quantity=PREDICTED, above=50), facts(), protocol)
        assert (verdict.state, verdict.why_unknown) == ("unknown", "never_measured")
        assert set(verdict.asks) == {"femur_length_mm", "tibia_length_mm"}


class TestOtherLeaves:
    """Diagnosis, type of a scheme, and stages done or planned."""

    @pytest.mark.parametrize(
        ("named", "state"), [("fibular_deficiency", "fails"), ("congenital_femoral_deficiency", "holds")]
    )
    def test_the_diagnosis(self, named, state, protocol) -> None:
        assert judge(condition(diagnosis=named), facts(), protocol).state == state

    @pytest.mark.parametrize(("type_", "state"), [("3b", "holds"), ("1a", "fails")])
    def test_a_type(self, type_, state, protocol) -> None:
        test = condition(classification=SCHEME, one_of=["3b", "3c"])
        assert judge(test, facts(classes={SCHEME: ClassFact(type_)}), protocol).state == state

    def test_a_scheme_that_does_not_apply_fails(self, protocol) -> None:
        assert judge(condition(classification=SCHEME, one_of=["3b"]), facts(), protocol).state == "fails"

    def test_an_undetermined_type_is_unknown_and_asks_what_would_settle_it(self, protocol) -> None:
        fact = ClassFact("undetermined", frozenset({"femoral_shaft"}), frozenset({"3a", "3b"}))
        verdict = judge(condition(classification=SCHEME, one_of=["3b", "3c"]), facts(classes={SCHEME: fact}), protocol)
        assert verdict.state == "unknown"
        assert set(verdict.asks) == {"femoral_shaft"}

    def test_an_undetermined_type_of_which_none_asked_for_is_left_fails(self, protocol) -> None:
        fact = ClassFact("undetermined", frozenset({"proximal_femur_ossification"}), frozenset({"1a", "1b"}))
        verdict = judge(condition(classification=SCHEME, one_of=["3b", "3c"]), facts(classes={SCHEME: fact}), protocol)
        assert verdict.state == "fails"

    def test_a_child_whom_no_type_fits_is_of_none_of_the_types(self, protocol) -> None:
        fact = ClassFact("undetermined", frozenset(), frozenset())
        verdict = judge(condition(classification=SCHEME, one_of=["3b", "3c"]), facts(classes={SCHEME: fact}), protocol)
        assert verdict.state == "fails"

    @pytest.mark.parametrize(
        ("done", "planned", "asked", "state"),
        [
            (True, False, "done", "holds"),
            (False, True, "done", "fails"),
            (False, False, "not_done", "holds"),
            (True, False, "not_done", "fails"),
            (False, True, "planned", "holds"),
            (True, False, "planned", "holds"),
            (False, False, "planned", "fails"),
        ],
    )
    def test_a_stage(self, done, planned, asked, state, protocol) -> None:
        name = ("hip_preparation",)
        held = facts(done=name if done else (), planned=name if planned else ())
        assert judge(condition(stage="hip_preparation", equals=asked), held, protocol).state == state
