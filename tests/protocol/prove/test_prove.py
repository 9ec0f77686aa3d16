"""The shipped rules are proved; a planted fault of each kind is found and told with a counter-example."""

from __future__ import annotations

import pytest

from pathway.protocol.load import load_protocol
from pathway.protocol.prove import prove
from tests.protocol.prove.changed import (
    age_window,
    condition,
    contraindication,
    gate,
    indication,
    interval,
    with_added,
    with_changed,
    with_type,
    without,
)

FOOT = "fibular_foot_2011"
ANKLE = "fibular_ankle_2016"
CE = "center_edge_angle_deg"
COVERED = "femoral_lengthening.hip_covered"
NO_ANGLE = {"all": [{"finding": CE, "above": 25}, {"finding": CE, "below": 20}]}
EVERY_ANGLE = {"any": [{"finding": CE, "above": 15}, {"finding": CE, "below": 20}]}
MOBILE_OR_NOT = {"any": [{"finding": "hip_mobile", "equals": value} for value in (True, False)]}
KNEE_IN_JOINT = {"finding": "knee_dislocated", "equals": False}
STABLE = {"finding": "ankle_type", "equals": "stable_normal"}


def told(protocol) -> str:
    faults = prove(protocol)
    assert faults, "nothing was found"
    return "\n".join(fault.sentence for fault in faults)


def test_the_shipped_rules_are_proved() -> None:
    assert prove(load_protocol()) == ()


def test_a_fault_is_placed_in_the_file_that_is_named() -> None:
    faults = prove(without("indications", "ankle_fusion.not_held"), {"ankle_fusion": "stages.toml"})
    assert [fault.place for fault in faults] == ["stages.toml"]


# What is planted, the rule that must be named, and words of the counter-example.
OF_RULES = [
    (
        "a gate that no value passes",
        with_added("gates", gate("hip_preparation", NO_ANGLE)),
        "planted",
        ("a gate that holds for no values of center_edge_angle_deg",),
    ),
    (
        "a gate that every value passes",
        with_added("gates", gate("hip_preparation", EVERY_ANGLE)),
        "planted",
        ("a gate that holds whatever is found",),
    ),
    (
        "a gate on the whole plausible range",
        with_added("gates", gate("hip_preparation", {"finding": CE, "at_least": -60})),
        "planted",
        ("holds whatever is found, as for center_edge_angle_deg = -60",),
    ),
    (
        "an indication that never fires, because the scheme is not for that diagnosis",
        with_added(
            "indications",
            indication(
                "hip_preparation",
                {
                    "all": [
                        {"diagnosis": "tibial_deficiency"},
                        {"classification": "femoral_mobile_hip_1998", "one_of": ["1b"]},
                    ]
                },
            ),
        ),
        "planted",
        ("an indication that holds for no values of the diagnosis, femoral_mobile_hip_1998",),
    ),
    (
        "an indication that asks more of a type than its findings allow",
        with_added(
            "indications",
            indication(
                "hip_preparation",
                {
                    "all": [
                        {"classification": "femoral_mobile_hip_1998", "one_of": ["3b"]},
                        {"finding": "knee_motion_arc_deg", "at_least": 45},
                    ]
                },
            ),
        ),
        "planted",
        ("holds for no values of femoral_mobile_hip_1998, knee_motion_arc_deg",),
    ),
    (
        "an indication whose greater chance is more likely than its smaller one",
        with_added(
            "indications",
            indication(
                "hip_preparation",
                {
                    "all": [
                        {"quantity": "predicted_discrepancy_at_maturity_mm", "above": 50, "chance": 0.8},
                        {"not": {"quantity": "predicted_discrepancy_at_maturity_mm", "above": 50, "chance": 0.5}},
                    ]
                },
            ),
        ),
        "planted",
        ("an indication that holds for no values of predicted_discrepancy_at_maturity_mm",),
    ),
    (
        "an indication for every child",
        with_added(
            "indications",
            indication("hip_preparation", MOBILE_OR_NOT),
        ),
        "planted",
        ("an indication that holds whatever is found",),
    ),
    (
        "an indication that asks what is planned later",
        with_added("indications", indication("hip_preparation", {"stage": "femoral_lengthening", "equals": "planned"})),
        "planted",
        ("a test whether femoral_lengthening is planned, which is judged after hip_preparation",),
    ),
    (
        "an indication on a stage that nothing plans",
        with_added("indications", indication("prosthetic_road", {"stage": "examination", "equals": "planned"})),
        "planted",
        ("a test whether examination is planned, which no indication makes it",),
    ),
    (
        "a contraindication for every child who needs the stage",
        with_added("contraindications", contraindication("ankle_foot_preparation", {"any": [
            {"finding": "ankle_type", "one_of": ["dynamic_valgus", "fixed_equinovalgus", "fixed_equinovarus"]},
            {"finding": "foot_plantigrade", "equals": "no"},
            {"classification": "tibial_bone_1978", "one_of": ["4"]},
        ]})),
        "ankle_foot_preparation",
        ("a contraindication for every child who needs it",),
    ),
    (
        "gates that contradict each other",
        with_added("gates", gate("femoral_lengthening", {"finding": CE, "below": 15})),
        "femoral_lengthening",
        ("no child for whom all of", "femoral_lengthening.hip_covered", "planted"),
    ),
    (
        "an operation that no rule indicates",
        without("indications", "ankle_fusion.not_held"),
        "ankle_fusion",
        ("an operation that no rule indicates",),
    ),
    (
        "a mender that does not mend",
        with_changed("gates", "femoral_lengthening.hip_covered", otherwise="knee_preparation"),
        "femoral_lengthening.hip_covered",
        ("knee_preparation as what mends a failure, which mends none of center_edge_angle_deg",),
    ),
    (
        "a finding that is mended and keeps its old value",
        with_changed("stages", "guided_growth", alters=()),
        "guided_growth",
        ("lateral_distal_femoral_angle_deg mended and not altered",),
    ),
]  # fmt: skip


@pytest.mark.parametrize(("protocol", "rule", "says"), [pytest.param(*row[1:], id=row[0]) for row in OF_RULES])
def test_a_rule_that_cannot_decide_is_told(protocol, rule, says) -> None:
    text = told(protocol)
    assert f"rule {rule}:" in text
    for words in says:
        assert words in text


OF_SCHEMES = [
    (
        "two bands that share their border",
        with_type(FOOT, "1B", lambda when: condition(all=[
            {"finding": "foot_functional", "equals": True},
            {"finding": "limb_shortening_percent", "at_least": 5},
            {"finding": "limb_shortening_percent", "at_most": 10},
        ])),
        FOOT,
        "the types 1A and 1B at once for foot_functional = yes, limb_shortening_percent = 5",
    ),
    (
        "two bands with room between them",
        with_type(FOOT, "1B", lambda when: condition(all=[
            {"finding": "foot_functional", "equals": True},
            {"finding": "limb_shortening_percent", "above": 6},
            {"finding": "limb_shortening_percent", "at_most": 10},
        ])),
        FOOT,
        "no type for foot_functional = yes, limb_shortening_percent = 5.5",
    ),
    (
        "a type whose condition is lost",
        with_type("femoral_mobile_hip_1998", "1a", lambda when: condition(all=when.all[:-1])),
        "femoral_mobile_hip_1998",
        "the types 1a and 1b at once for femoral_deficiency_site = proximal, femoral_shaft = reaches_socket",
    ),
    (
        "a choice that no type takes",
        with_type(ANKLE, "4", lambda when: condition(finding="ankle_type", equals="fixed_equinovalgus")),
        ANKLE,
        "no type for ankle_type = fixed_equinovarus",
    ),
    (
        "a type that nobody can have",
        with_type(FOOT, "1D", lambda when: condition(all=[
            {"finding": "limb_shortening_percent", "above": 30}, {"finding": "limb_shortening_percent", "below": 20},
        ])),
        f"{FOOT}.1d",
        "no findings that give this type",
    ),
    (
        "a gap of the scheme that is not declared",
        with_changed("classifications", "femoral_shaft_tip_1974", gap="", gap_when=None),
        "femoral_shaft_tip_1974",
        "no type for proximal_femur_continuity = bone",
    ),
    (
        "a gap in words only",
        with_changed("classifications", ANKLE, gap="Some feet have no type."),
        ANKLE,
        "a gap in words without its test",
    ),
    (
        "a gap where a type holds",
        with_changed("classifications", ANKLE, gap="Stable.", gap_when=condition(**STABLE)),
        ANKLE,
        "the type 1 and the declared gap at once for ankle_type = stable_normal",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("protocol", "rule", "says"), [pytest.param(*row[1:], id=row[0]) for row in OF_SCHEMES])
def test_a_scheme_with_a_hole_or_an_overlap_is_told_with_a_child(protocol, rule, says) -> None:
    text = told(protocol)
    assert f"rule {rule}:" in text
    assert says in text


OF_ORDER = [
    (
        "two stages of one rank",
        with_changed("stages", "knee_preparation", rank=10),
        ("rule knee_preparation: found the rank 10, which hip_preparation has too",),
    ),
    (
        "an interval against the preparation's own",
        with_added("intervals", interval("femoral_lengthening.start", "hip_preparation.start", at_least_months=1)),
        ("a circle:", "femoral_lengthening before", "hip_preparation", "(planted)"),
    ),
    (
        "a mending gate against an interval",
        with_added("gates", gate("hip_preparation", KNEE_IN_JOINT, otherwise="knee_preparation")),
        ("knee_preparation before hip_preparation, which another rule puts into one sitting",),
    ),
    (
        "an interval within one sitting",
        with_added("intervals", interval("hip_preparation.end", "proximal_femoral_osteotomy.start", at_least_months=1)),
        ("hip_preparation before proximal_femoral_osteotomy, which another rule puts into one sitting",),
    ),
    (
        "a question that goes round",
        with_added("contraindications", contraindication(
            "tibiofibular_joining", {"stage": "tibial_lengthening", "equals": "not_done"}, instead="tibial_lengthening",
        )),
        ("a circle:", "tibial_lengthening before tibiofibular_joining (planted)"),
    ),
]  # fmt: skip


@pytest.mark.parametrize(("protocol", "says"), [pytest.param(*row[1:], id=row[0]) for row in OF_ORDER])
def test_a_circle_of_stages_is_told_by_its_rules(protocol, says) -> None:
    text = told(protocol)
    for words in says:
        assert words in text


OF_TIME = [
    (
        "a preparation later than the lengthening it prepares",
        with_added("age_windows", age_window("hip_preparation", at_least_months=234, hard=True)),
        ("no time for femoral_lengthening, hip_preparation", "planted", "hip_preparation.before_lengthening"),
    ),
    (
        "repeats that do not fit into childhood",
        with_changed("intervals", "femoral_lengthening.three_years_apart", at_least_months=84),
        ("no time for femoral_lengthening", "three_years_apart", "before_twenty"),
    ),
    (
        "two bones that cannot be kept apart",
        with_changed("intervals", "lengthening.bones_apart", at_least_months=60),
        ("no time for femoral_lengthening, tibial_lengthening", "lengthening.bones_apart"),
    ),
    (
        "hard ages of one sex that contradict",
        with_added("age_windows", age_window("contralateral_growth_arrest", at_most_months=100, hard=True, sex="girl")),
        ("of a girl", "contralateral_growth_arrest.girls_not_before_nine", "planted"),
    ),
    (
        "a usual age that the hard ones forbid",
        with_added("age_windows", age_window("femoral_lengthening", at_most_months=20)),
        ("rule planted: found a usual age that femoral_lengthening.not_before_three leaves no month of",),
    ),
]  # fmt: skip


@pytest.mark.parametrize(("protocol", "says"), [pytest.param(*row[1:], id=row[0]) for row in OF_TIME])
def test_stages_without_room_are_told_by_the_rules_that_contradict(protocol, says) -> None:
    text = told(protocol)
    for words in says:
        assert words in text


def test_stages_that_no_child_needs_together_need_no_room_together() -> None:
    # A false joint under a mobile head is joined, under an absent one held to the pelvis: never both in one child.
    # The optional joining under a stiff head is taken away here, for it may stand beside the other.
    protocol = without("indications", "pseudarthrosis_repair.severe_order")
    apart = interval("pseudarthrosis_repair.start", "femoral_pelvic_stabilisation.start", at_least_months=300)
    intervals = (*protocol.intervals, apart.model_copy(update={"either_order": True}))
    assert prove(protocol.__class__(**{**dict(protocol), "intervals": intervals})) == ()


OF_SHAPE = [
    (with_changed("gates", COVERED, sources=()), COVERED, "no source"),
    (with_changed("gates", COVERED, because=" "), COVERED, "`because`"),
    (with_changed("stages", "guided_growth", family_words=""), "guided_growth", "no words in `family_words`"),
    (with_changed("stages", "guided_growth", label=" "), "guided_growth", "no words in `label`"),
    (with_changed("stages", "guided_growth", what=""), "guided_growth", "no words in `what`"),
    (with_changed("intervals", "knee.before_lengthening", at_least_months=-12), "knee.before_lengthening", "-12"),
    (with_changed("indications", "guided_growth.knee_valgus", stage="nowhere"), "knee_valgus", "'nowhere'"),
]  # fmt: skip


@pytest.mark.parametrize(("protocol", "rule", "says"), OF_SHAPE, ids=[f"{rule}-{says}" for _, rule, says in OF_SHAPE])
def test_ids_sources_ranges_and_words_are_proved_first(protocol, rule, says) -> None:
    text = told(protocol)
    assert rule in text
    assert says in text
