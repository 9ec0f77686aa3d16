"""The rules that ship with the program: complete, sourced, and read the same every time."""

from __future__ import annotations

import pytest

from pathway.protocol.check import faults_of
from pathway.protocol.load import load_protocol, read_protocol
from tests.offenders import for_each
from tests.protocol.rule_folder import SHIPPED

PROTOCOL = load_protocol()
RULES = tuple(PROTOCOL.rules())
SOURCED = (
    *RULES,
    *PROTOCOL.findings,
    *PROTOCOL.methods,
    *PROTOCOL.diagnoses,
    *PROTOCOL.classifications,
    *PROTOCOL.stages,
    *PROTOCOL.harms,
)
HONEST = {
    "from_memory": {"memory"},
    "own_judgement": {"judgement", "computed"},
    "common_practice": {"practice"},
}


def test_the_shipped_rules_have_no_fault() -> None:
    assert faults_of(PROTOCOL) == ()


def test_reading_twice_gives_equal_protocols_in_the_same_order() -> None:
    first, second = read_protocol(SHIPPED), read_protocol(SHIPPED)
    assert first is not second
    assert first == second
    assert first.model_dump_json() == second.model_dump_json()


def test_the_order_in_which_a_folder_lists_its_files_does_not_matter() -> None:
    class Backwards:
        """The shipped folder, listing its files the other way round."""

        def __init__(self, folder) -> None:
            self.folder = folder
            self.name = folder.name

        def iterdir(self):
            return sorted(self.folder.iterdir(), reverse=True)

        def joinpath(self, name):
            return Backwards(self.folder / name)

        def is_dir(self) -> bool:
            return self.folder.is_dir()

    assert read_protocol(Backwards(SHIPPED)) == PROTOCOL  # type: ignore[arg-type]


@for_each(RULES)
def test_every_rule_says_why_in_words(rule) -> None:
    assert len(rule.because.split()) >= 3
    assert rule.because.strip().endswith((".", "!", "?"))


@for_each(SOURCED)
def test_every_statement_names_sources_that_are_listed(item) -> None:
    known = {source.id for source in PROTOCOL.sources}
    assert item.sources
    assert set(item.sources) <= known


@for_each(SOURCED)
def test_what_rests_on_no_publication_does_not_read_as_read(item) -> None:
    if set(item.sources) <= set(HONEST):
        allowed = set().union(*(HONEST[source] for source in item.sources))
        assert item.provenance in allowed


@for_each(PROTOCOL.sources)
def test_every_source_says_what_it_is_and_what_of_it_was_seen(source) -> None:
    assert len(source.citation) > 20
    assert source.seen.strip()


def test_operations_on_a_bone_have_their_days_a_centimetre_and_the_other_stages_months() -> None:
    for stage in PROTOCOL.stages:
        if stage.bone is not None:
            assert PROTOCOL.number(f"{stage.bone}_days_per_cm") > 0
        elif stage.operation:
            assert stage.duration_months is not None


def test_every_gate_that_names_a_mender_names_one_that_mends_what_it_asks() -> None:
    for gate in PROTOCOL.gates:
        if gate.otherwise is not None:
            asked = {leaf.finding for leaf in gate.requires.leaves()}
            altered = {*PROTOCOL.stage(gate.otherwise).mends, *PROTOCOL.stage(gate.otherwise).alters}
            assert asked & altered, gate.id


def test_the_ids_of_tables_and_values_can_be_looked_up() -> None:
    for table in PROTOCOL.tables:
        assert PROTOCOL.table(table.id) is table
    for value in PROTOCOL.values:
        assert PROTOCOL.number(value.id) == value.value


def test_an_unknown_id_is_a_key_error() -> None:
    for look_up in (PROTOCOL.finding, PROTOCOL.stage, PROTOCOL.method, PROTOCOL.diagnosis, PROTOCOL.source):
        with pytest.raises(KeyError):
            look_up("nobody")


@for_each(PROTOCOL.findings)
def test_every_finding_is_told_in_plain_words(rule) -> None:
    """A sentence that goes on after "we do not know yet", without the words of the trade."""
    said = rule.family_words
    assert said is not None
    assert said.split()[0] in ("how", "whether", "where", "which")
    trade = ("femur", "tibia", "fibula", "patella", "acetab", "epiphys", "physis", "ossif", "contracture", "mechanical")
    assert not [word for word in trade if word in said]
