"""Sets of weights: what they multiply, who puts them in force, and what is refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from pathway.preferences import PREFERENCES, ROADS
from pathway.problems import Refused
from pathway.protocol.load import load_protocol, read_protocol
from pathway.protocol.model import Protocol
from pathway.protocol.preference_sets import changes, in_force, multiplied, preferred
from pathway.views.rules.words import statement
from tests.protocol.rule_folder import Planted, append, plant

FILE = "preferences.toml"
WEIGHED = set(PREFERENCES) - {"no_growth_arrest", *ROADS}
ALWAYS = """
[[preference_set]]
id = "{}"
default = true
sources = ["common_practice"]
provenance = "practice"
"""
MORE = """
[[preference_set]]
id = "clinic_two"
family_words = "Few operations and short steps."
factors = [{ weight = "weigh_lengthening", times = 2.0 }]
default = true
because = "So it is done here."
sources = ["own_judgement"]
provenance = "judgement"
"""


def clinic(tmp_path: Path, text: str) -> Protocol:
    (tmp_path / "own.toml").write_text(text, encoding="utf-8")
    return load_protocol(tmp_path)


def test_every_wish_that_changes_weights_has_its_set_and_no_other_set_ships() -> None:
    shipped = load_protocol().preference_sets
    assert {one.id for one in shipped} == WEIGHED
    assert not any(one.default for one in shipped)


def test_without_a_wish_the_weights_are_those_of_the_rules() -> None:
    protocol = load_protocol()
    assert preferred(protocol, ()) is protocol
    assert preferred(protocol, {"no_growth_arrest"}) is protocol


@pytest.mark.parametrize("wish", sorted(WEIGHED))
def test_a_wish_multiplies_its_weights_and_nothing_else(wish: str) -> None:
    protocol = load_protocol()
    theirs = preferred(protocol, {wish})
    (one,) = in_force(protocol, {wish})
    times = {factor.weight: factor.times for factor in one.factors}
    for value in protocol.values:
        assert theirs.number(value.id) == pytest.approx(value.value * times.get(value.id, 1.0)), value.id
    assert protocol.number(one.weights[0]) != theirs.number(one.weights[0])


def test_several_at_once_multiply(tmp_path: Path) -> None:
    protocol = clinic(tmp_path, MORE)
    ours = load_protocol().number("weigh_lengthening")
    assert preferred(protocol, ()).number("weigh_lengthening") == pytest.approx(2.0 * ours)
    assert preferred(protocol, {"fewest_operations"}).number("weigh_lengthening") == pytest.approx(3.6 * ours)
    found = changes(in_force(protocol, {"fewest_operations"}))
    assert found["weigh_lengthening"] == (("fewest_operations", 1.8), ("clinic_two", 2.0))


def test_a_clinic_puts_a_set_in_force_and_it_counts_once_if_the_family_wishes_it_too(tmp_path: Path) -> None:
    protocol = clinic(tmp_path, ALWAYS.format("shortest_time_different"))
    always = preferred(protocol, ()).number("weigh_burden_a_year")
    assert always == pytest.approx(1.7 * protocol.number("weigh_burden_a_year"))
    assert preferred(protocol, {"shortest_time_different"}).number("weigh_burden_a_year") == pytest.approx(always)


def test_the_words_say_what_is_multiplied_and_when() -> None:
    protocol = load_protocol()
    (one,) = in_force(protocol, {"least_device_time"})
    words = statement(one, protocol)
    assert "weigh_frame_month x2.5" in words
    assert "where the family wishes for it" in words
    assert one.family_words in words


def test_an_unknown_value_is_not_multiplied() -> None:
    with pytest.raises(KeyError):
        multiplied(load_protocol(), {"weigh_nothing": 2.0})


@pytest.mark.parametrize(
    "fault",
    [
        Planted(
            "unknown weight",
            FILE,
            'id = "shortest_time_different"',
            '"weigh_burden_a_year"',
            '"weigh_burdens"',
            "shortest_time_different",
            "weigh_burdens",
        ),
        Planted(
            "not a weight",
            FILE,
            'id = "shortest_time_different"',
            '"weigh_burden_a_year"',
            '"policy_least_mm"',
            "shortest_time_different",
            "policy_least_mm",
        ),
        Planted(
            "twice",
            FILE,
            'id = "smallest_steps"',
            '"practice_long_from_mm"',
            '"practice_percent_weight"',
            "smallest_steps",
            "2 times",
        ),
        Planted("no factor", FILE, 'id = "least_device_time"', "times = 2.5", "times = 0", "least_device_time", "0"),
        Planted("no stop", FILE, 'id = "smallest_steps"', "less level.", "less level", "smallest_steps", "full stop"),
    ],
    ids=lambda fault: fault.name,
)
def test_a_broken_set_is_named(tmp_path: Path, fault: Planted) -> None:
    with pytest.raises(Refused) as caught:
        read_protocol(plant(tmp_path, fault))
    said = [problem.sentence for problem in caught.value.problems]
    assert any(fault.rule in sentence and fault.says in sentence for sentence in said), said


def test_an_id_is_used_once(tmp_path: Path) -> None:
    text = MORE.replace("clinic_two", "smallest_steps")
    with pytest.raises(Refused, match="smallest_steps"):
        read_protocol(append(tmp_path, FILE, text))
