"""A clinic's rules laid over ours: replace, add, switch off, and every way in which that is refused."""

from __future__ import annotations

import datetime
from pathlib import Path

import pytest

from pathway.plan.make import make_plan
from pathway.problems import Refused
from pathway.protocol.load import load_protocol, read_overlay, with_overlay
from pathway.protocol.model import Protocol
from pathway.protocol.overlay import SWITCHABLE, Entry, Overlay, differences, laid_over
from pathway.protocol.question import Question
from pathway.protocol.references import entries, users
from pathway.protocol.roles import EVERY_PLAN
from pathway.record import Record
from tests.sample import LEGS, ON, SHALLOW_AND_BENT, at_age, child, five_year_old, visit

HIP = "femoral_lengthening.hip_covered"
OWN = 'provenance = "judgement"\nsources = ["own_judgement"]\n'
OF_OURS = ("strength", "note", "evidence", "indirect")
"""What says how good our sources are falls away where the clinic names its own."""

STRICTER = f'[[gate]]\nid = "{HIP}"\nrequires = {{ finding = "center_edge_angle_deg", above = 22 }}\n{OWN}'
THERAPY = "femoral_lengthening.therapy_ready"
NO_THERAPY = f'[[gate]]\nid = "{THERAPY}"\noff = true\nbecause = "Always so."\n'
SCHEME = "femoral_mobile_hip_1998"
HALF = '[[gate]]\nid = "clinic.half"\nguards = "hip_preparation"\n'
REST = f"""
[[interval]]
id = "clinic.rest"
earlier = "hip_preparation.start"
later = "knee_preparation.start"
at_least_months = 1
because = "The family rests in between."
{OWN}"""


def folder(tmp_path: Path, **files: str) -> Path:
    for name, text in files.items():
        (tmp_path / f"{name}.toml").write_text(text, encoding="utf-8")
    return tmp_path


def sentences(tmp_path: Path, **files: str) -> list[str]:
    with pytest.raises(Refused) as caught:
        load_protocol(folder(tmp_path, **files))
    return [fault.sentence for fault in caught.value.problems]


def rule(protocol: Protocol, id: str):
    return next(entry for _, entry in entries(protocol) if entry.id == id)


class TestReplace:
    """An entry with an id of ours replaces what it gives, and nothing else."""

    def test_given_fields_are_the_clinics_the_rest_is_ours(self, tmp_path, protocol) -> None:
        ours, theirs = rule(protocol, HIP), rule(load_protocol(folder(tmp_path, own=STRICTER)), HIP)
        assert theirs.requires.above == 22
        assert (theirs.guards, theirs.otherwise, theirs.because) == (ours.guards, ours.otherwise, ours.because)
        assert theirs.sources == ("own_judgement",)

    def test_the_strength_and_the_note_of_our_sources_do_not_stand_beside_the_clinics(self, tmp_path, protocol) -> None:
        ours, theirs = rule(protocol, HIP), rule(load_protocol(folder(tmp_path, own=STRICTER)), HIP)
        assert (ours.strength, bool(ours.note)) == ("series", True)
        assert (theirs.strength, theirs.note) == ("expert_opinion", "")

    def test_it_is_local_whatever_the_file_says(self, tmp_path, protocol) -> None:
        theirs = load_protocol(folder(tmp_path, own=STRICTER + "local = false\n"))
        assert rule(theirs, HIP).local
        assert not rule(protocol, HIP).local
        assert [entry.id for _, entry in entries(theirs) if getattr(entry, "local", False)] == [HIP]

    def test_its_place_among_the_rules_stays(self, tmp_path, protocol) -> None:
        theirs = load_protocol(folder(tmp_path, own=STRICTER))
        assert [gate.id for gate in theirs.gates] == [gate.id for gate in protocol.gates]

    def test_wording_alone_needs_no_sources(self, tmp_path) -> None:
        theirs = load_protocol(folder(tmp_path, own=f'[[gate]]\nid = "{HIP}"\nbecause = "We saw hips slide."\n'))
        assert rule(theirs, HIP).because == "We saw hips slide."
        assert rule(theirs, HIP).strength == "series"

    def test_a_type_of_a_classification_is_laid_over_alone(self, tmp_path, protocol) -> None:
        text = """
[[classification]]
id = "femoral_mobile_hip_1998"
  [[classification.types]]
  id = "femoral_mobile_hip_1998.3c"
  label = "no femur on film"
"""
        theirs = load_protocol(folder(tmp_path, own=text))
        (ours,) = [scheme for scheme in protocol.classifications if scheme.id == "femoral_mobile_hip_1998"]
        (changed,) = [scheme for scheme in theirs.classifications if scheme.id == "femoral_mobile_hip_1998"]
        assert [kind.id for kind in changed.types] == [kind.id for kind in ours.types]
        assert rule(theirs, "femoral_mobile_hip_1998.3c").label == "no femur on film"
        assert [kind.id for kind in changed.types if kind.local] == ["femoral_mobile_hip_1998.3c"]

    def test_a_value_is_found_by_its_new_number(self, tmp_path) -> None:
        theirs = load_protocol(folder(tmp_path, own=f'[[value]]\nid = "goal_band_mm"\nvalue = 15\n{OWN}'))
        assert theirs.number("goal_band_mm") == 15

    def test_our_own_protocol_stays_as_it_was(self, tmp_path, protocol) -> None:
        before = protocol.model_dump_json()
        load_protocol(folder(tmp_path, own=STRICTER + REST))
        assert load_protocol() is protocol
        assert protocol.model_dump_json() == before


class TestAddAndSwitchOff:
    """A new id adds; `off` with a reason takes out what nothing else needs."""

    def test_a_new_rule_stands_after_ours_and_is_local(self, tmp_path, protocol) -> None:
        theirs = load_protocol(folder(tmp_path, own=REST))
        assert theirs.intervals[: len(protocol.intervals)] == protocol.intervals
        assert (theirs.intervals[-1].id, theirs.intervals[-1].local) == ("clinic.rest", True)

    def test_a_source_may_be_added_and_used_at_once(self, tmp_path) -> None:
        source = '[[source]]\nid = "clinic_audit"\ncitation = "Audit of this clinic, 40 lengthenings"\n'
        text = STRICTER.replace("own_judgement", "clinic_audit")
        assert rule(load_protocol(folder(tmp_path, own=text, sources=source)), HIP).sources == ("clinic_audit",)

    def test_a_rule_switched_off_is_gone_and_listed_with_its_reason(self, tmp_path, protocol) -> None:
        theirs = load_protocol(
            folder(tmp_path, own=f'[[gate]]\nid = "{THERAPY}"\noff = true\nbecause = "Always so."\n')
        )
        assert THERAPY not in {gate.id for gate in theirs.gates}
        assert len(theirs.gates) == len(protocol.gates) - 1
        (off,) = theirs.switched_off
        assert (off.id, off.kind, off.because) == (THERAPY, "gates", "Always so.")

    def test_a_stage_goes_with_all_that_needs_it(self, tmp_path, protocol) -> None:
        needing = users(protocol)["guided_growth"]
        kinds = {entry.id: kind for kind, entry in entries(protocol)}
        off = [Entry(kinds[name], name, {"off": True, "because": "Not done here."}, "own.toml") for name in needing]
        stage = Entry("stages", "guided_growth", {"off": True, "because": "Not done here."}, "own.toml")
        theirs = laid_over(protocol, Overlay("", "", (stage, *off)))
        assert isinstance(theirs, Protocol), theirs
        assert "guided_growth" not in {stage.id for stage in theirs.stages}

    def test_the_name_and_version_say_that_the_protocol_is_not_ours_alone(self, tmp_path, protocol) -> None:
        theirs = load_protocol(folder(tmp_path, own='name = "hill clinic"\nversion = "7"\n' + STRICTER))
        assert (theirs.name, theirs.version) == (f"{protocol.name} with hill clinic", f"{protocol.version}+7")
        assert load_protocol(folder(tmp_path, own=STRICTER)).version == f"{protocol.version}+local"

    def test_an_overlay_may_be_laid_over_an_overlay(self, tmp_path, protocol) -> None:
        first, second = tmp_path / "first", tmp_path / "second"
        first.mkdir(), second.mkdir()
        once = load_protocol(folder(first, own=STRICTER))
        twice = with_overlay(once, read_overlay(folder(second, own=REST)))
        assert rule(twice, HIP).requires.above == 22
        assert twice.version == f"{protocol.version}+local+local"


REFUSED = {
    "a source nobody knows": (STRICTER.replace("own_judgement", "nobody"), HIP, "nobody"),
    "a finding nobody measures": (STRICTER.replace("center_edge_angle_deg", "angle"), HIP, "angle"),
    "a threshold out of range": (STRICTER.replace("22", "220"), HIP, "220"),
    "a field that means nothing": (STRICTER + 'shoe = "red"\n', HIP, "shoe"),
    "a value under our sources": (STRICTER.replace(OWN, ""), HIP, "sources"),
    "a value with a source yet no provenance": (STRICTER.replace('provenance = "judgement"\n', ""), HIP, "provenance"),
    "a new rule that is half a rule": (
        '[[gate]]\nid = "clinic.half"\nguards = "hip_preparation"\n',
        "clinic.half",
        "nothing",
    ),
    "an id of another kind": (REST.replace("clinic.rest", HIP), HIP, "2 times"),
    "switched off without a reason": (f'[[gate]]\nid = "{THERAPY}"\noff = true\n', THERAPY, "reason"),
    "switched off with other fields": (
        f'[[gate]]\nid = "{THERAPY}"\noff = true\nbecause = "x"\nnote = "y"\n',
        THERAPY,
        "note",
    ),
    "off that is not true": (f'[[gate]]\nid = "{THERAPY}"\noff = false\nbecause = "x"\n', THERAPY, "off = False"),
    "switched off what is not there": ('[[gate]]\nid = "hip"\noff = true\nbecause = "x"\n', "hip", "do not have"),
    "a stage that rules need": (
        '[[stage]]\nid = "guided_growth"\noff = true\nbecause = "x"\n',
        "guided_growth",
        "needed by guided_growth.knee_valgus",
    ),
    "a type that rules need as a word": (
        '[[classification]]\nid = "femoral_mobile_hip_1998"\n[[classification.types]]\n'
        'id = "femoral_mobile_hip_1998.3c"\noff = true\nbecause = "x"\n',
        "femoral_lengthening.femur_deficient",
        "3c",
    ),
    "a number that the planner asks for": (
        '[[value]]\nid = "goal_band_mm"\noff = true\nbecause = "x"\n',
        "goal_band_mm",
        "values",
    ),
    "the sentence that heads every view": (
        '[[caution]]\nid = "caution.planning_aid"\noff = true\nbecause = "x"\n',
        "caution.planning_aid",
        "heads every view",
    ),
    "that sentence for some plans only": (
        f'[[caution]]\nid = "caution.planning_aid"\nstages = ["hip_preparation"]\n{OWN}',
        "caution.planning_aid",
        "heads every view",
    ),
    "types that are no tables": (f'[[classification]]\nid = "{SCHEME}"\ntypes = ["1a"]\n', SCHEME, "1a"),
}


@pytest.mark.parametrize(("text", "name", "says"), REFUSED.values(), ids=REFUSED)
def test_a_broken_overlay_is_refused_with_the_rule(text, name, says, tmp_path) -> None:
    told = sentences(tmp_path, own=text)
    assert any(f"rule {name}" in sentence and says in sentence for sentence in told), told


@pytest.mark.parametrize(
    "name", ["a threshold out of range", "switched off without a reason", "a field that means nothing"]
)
def test_the_file_of_the_clinic_is_named(name, tmp_path) -> None:
    assert all(sentence.startswith("own.toml, rule") for sentence in sentences(tmp_path, own=REFUSED[name][0]))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[[gate]\n", "own.toml: found text that is not TOML"),
        ('[[surprise]]\nid = "a"\n', "own.toml, surprise"),
        ('changed = "all"\n', "own.toml, changed"),
        ('[[gate]]\nbecause = "no id"\n', "a table with an id"),
        ("gate = [1]\n", "a table with an id"),
        (f'[[gate]]\nid = "{HIP}"\n[[gate]]\nid = "{HIP}"\n', "the id 2 times"),
        ('name = "empty"\n', "no rule in it"),
    ],
)
def test_a_file_of_another_shape_is_refused(text, says, tmp_path) -> None:
    told = sentences(tmp_path, own=text)
    assert any(says in sentence for sentence in told), told


def test_a_folder_that_is_not_there_is_named(tmp_path) -> None:
    with pytest.raises(Refused, match=r"nowhere: found no such folder"):
        load_protocol(tmp_path / "nowhere")


def test_bytes_that_are_no_text_are_refused(tmp_path) -> None:
    (tmp_path / "own.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(Refused, match=r"own\.toml: found text that is not TOML"):
        read_overlay(tmp_path)


def test_all_faults_are_told_at_once(tmp_path) -> None:
    told = sentences(tmp_path, one=STRICTER + 'shoe = "red"\n', two=f'[[gate]]\nid = "{THERAPY}"\noff = true\n')
    assert len(told) == 2


class TestDifferences:
    """What the review sheet is made from."""

    def test_changed_added_and_switched_off_in_the_order_of_the_files(self, tmp_path, protocol) -> None:
        text = STRICTER + REST + NO_THERAPY
        overlay = read_overlay(folder(tmp_path, own=text))
        theirs = with_overlay(protocol, overlay)
        found = differences(protocol, theirs, overlay)
        assert {(item.what, item.id) for item in found} == {
            ("changed", HIP),
            ("added", "clinic.rest"),
            ("switched off", THERAPY),
        }
        changed = next(item for item in found if item.what == "changed")
        assert {field.name for field in changed.fields} == {"requires", "sources", "provenance", *OF_OURS}
        requires = next(field for field in changed.fields if field.name == "requires")
        assert (requires.ours.above, requires.theirs.above) == (20, 22)

    def test_what_only_repeats_ours_is_no_difference(self, tmp_path, protocol) -> None:
        overlay = read_overlay(folder(tmp_path, own=f'[[gate]]\nid = "{HIP}"\nlook_again_months = 3\n{OWN}'))
        names = [
            field.name
            for item in differences(protocol, with_overlay(protocol, overlay), overlay)
            for field in item.fields
        ]
        assert "look_again_months" not in names


class TestPlanned:
    """A plan made with local rules follows them and says which they are."""

    def test_the_threshold_of_the_clinic_judges(self, tmp_path, protocol) -> None:
        near = five_year_old({**SHALLOW_AND_BENT, "center_edge_angle_deg": 21.0, "neck_shaft_angle_deg": 130.0})
        theirs = load_protocol(folder(tmp_path, own=STRICTER))

        def gate(rules):
            stages = make_plan(Question(near, rules, ON), compared=False).stages
            return next(g for s in stages for g in s.gates if g.id == HIP and s.number == 1)

        assert (gate(protocol).state, gate(protocol).local) == ("holds", False)
        assert (gate(theirs).state, gate(theirs).local, gate(theirs).verdict.threshold) == ("fails", True, 22)

    def test_local_and_switched_off_rules_are_listed(self, tmp_path) -> None:
        text = STRICTER + NO_THERAPY
        plan = make_plan(Question(five_year_old(), load_protocol(folder(tmp_path, own=text)), ON), compared=False)
        assert plan.protocol.local_rules == (HIP,)
        assert [(item.id, item.because) for item in plan.protocol.switched_off] == [(THERAPY, "Always so.")]
        assert THERAPY not in {gate.id for stage in plan.stages for gate in stage.gates}


def _off(protocol: Protocol, *names: str) -> Overlay:
    kinds = {entry.id: kind for kind, entry in entries(protocol)}
    return Overlay("", "", tuple(Entry(kinds[n], n, {"off": True, "because": "Not here."}, "own.toml") for n in names))


LENGTHENINGS = {stage.id for stage in load_protocol().stages if stage.bone is not None}
TIED = [rule for rule in load_protocol().intervals if rule.earlier_stage in LENGTHENINGS and rule.at_most_months == 0]
ALWAYS = {stage.id for stage in load_protocol().stages if stage.role in EVERY_PLAN}
ENDS = {rule.id: rule.later_stage for rule in TIED}
ENDS_WITH = {rule.later_stage: {rule.earlier_stage} for rule in TIED}


@pytest.mark.parametrize("rule", TIED, ids=[rule.id for rule in TIED])
def test_what_ends_a_lengthening_goes_only_with_it(rule, protocol) -> None:
    named = users(protocol)[rule.later_stage]
    for names in ((rule.id,), (rule.later_stage, *named)):
        faults = laid_over(protocol, _off(protocol, *names))
        assert any(f"as long as {rule.earlier_stage} is" in fault.sentence for fault in faults)


def _nearly_grown() -> tuple[Record, datetime.date]:
    """A boy of fourteen who needs preparation and lengthening: few courses are left, his plan is quick."""
    legs = {name: 1.6 * mm for name, mm in LEGS.items()}
    return child(visit(at_age(14), {**SHALLOW_AND_BENT, **legs}, skeletal_age=14.0)), at_age(14) + datetime.timedelta(
        14
    )


def test_each_rule_that_nothing_needs_can_be_switched_off_and_a_child_still_be_planned(protocol) -> None:
    named, switched = users(protocol), 0
    toddler = five_year_old(SHALLOW_AND_BENT, without=tuple(LEGS))
    for kind, entry in entries(protocol):
        usual = kind == "devices" and entry.choice == "usual"
        kept = usual or entry.id in (*ALWAYS, *ENDS) or getattr(entry, "head", False) or entry.id in named
        if kind not in SWITCHABLE or kind == "types" or kept:
            continue
        theirs = laid_over(protocol, _off(protocol, entry.id))
        assert isinstance(theirs, Protocol), (entry.id, theirs)
        if kind in ("indications", "gates", "contraindications"):
            assert make_plan(Question(toddler, theirs, ON), compared=False).protocol.switched_off[0].id == entry.id
            switched += 1
    assert switched > 30


def test_each_stage_can_be_switched_off_with_all_that_needs_it_and_a_child_still_be_planned(protocol) -> None:
    named, (boy, day) = users(protocol), _nearly_grown()
    for stage in protocol.stages:
        if stage.id in (*ALWAYS, *ENDS.values()):
            continue
        ends = [name for name in ENDS.values() if stage.id in ENDS_WITH.get(name, ())]
        ends += [item.id for item in protocol.stages if protocol.carrier(item.id) == stage]
        names = dict.fromkeys((stage.id, *ends, *(user for name in (stage.id, *ends) for user in named.get(name, ()))))
        theirs = laid_over(protocol, _off(protocol, *names))
        assert isinstance(theirs, Protocol), (stage.id, theirs)
        assert stage.id not in {item.kind for item in make_plan(Question(boy, theirs, day), compared=False).stages}


def test_an_examination_cannot_be_switched_off(protocol) -> None:
    (fault,) = laid_over(protocol, _off(protocol, "examination"))
    assert "examination" in fault.sentence
