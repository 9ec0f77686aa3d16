"""A child is erased on request: nothing of it can be read, its chain still verifies and says when."""

from __future__ import annotations

from pathlib import Path

import pytest

from pathway.registry.copies import back_up, heads
from pathway.registry.erasure import erase
from pathway.registry.exchange import history_json, import_history, import_record, read_history
from pathway.registry.journal.entry import StoredPlan
from pathway.registry.journal.payloads import decision_entry
from pathway.registry.problem import RegistryProblem
from pathway.registry.store import Registry, open_registry
from pathway.registry.verifying import verify
from tests.registry.keeping import LATER_VISIT, WHEN, keep, keep_four, named, wish
from tests.registry.test_tamper import tamper

NAME = "maple-01"
SECRET = "a very telling remark"


@pytest.fixture
def erased(store) -> Registry:
    head = keep(store, NAME, decision_entry(wish(SECRET), "nurse"))
    store.store_plans([StoredPlan(NAME, head, "0.3.0", "d" * 64, LATER_VISIT.date, {"next": SECRET}, SECRET)])
    keep_four(store, "oak-01")
    erase(store, NAME, reason="the family asked", who="registrar", when=WHEN)
    return store


def test_no_payload_and_no_plan_is_left(erased) -> None:
    entries = erased.entries(NAME)
    assert [entry.payload for entry in entries[:-1]] == [None, None]
    assert [entry.salt for entry in entries[:-1]] == [None, None]
    assert erased.stored_plan(NAME) is None


def test_the_chain_verifies_and_says_when(erased) -> None:
    found = verify(erased)
    assert found.faults == ()
    assert found.erased == {NAME: WHEN}
    last = erased.entries(NAME)[-1]
    assert (last.kind, last.who, last.payload) == ("erasure", "registrar", {"reason": "the family asked"})
    assert erased.children()[0].erased == WHEN


def test_heads_kept_before_still_fit(store) -> None:
    keep_four(store, NAME)
    known = heads(store)
    erase(store, NAME, reason="the family asked", who="registrar", when=WHEN)
    assert verify(store, known).faults == ()


def test_other_children_are_untouched(erased) -> None:
    assert erased.record("oak-01").visits[-1] == LATER_VISIT


def test_the_record_cannot_be_read_added_to_taken_in_again_or_erased_twice(erased) -> None:
    for act in (
        lambda: erased.record(NAME),
        lambda: erased.append(NAME, decision_entry(wish(), "a"), seen=erased.head(NAME), when=WHEN),
        lambda: import_record(erased, named(NAME), who="a", when=WHEN),
        lambda: erase(erased, NAME, reason="again", who="a", when=WHEN),
    ):
        with pytest.raises(RegistryProblem, match=f"that {NAME} was erased"):
            act()
    assert erased.head(NAME).count == 3


def test_the_bytes_are_gone_from_the_file(tmp_path) -> None:
    with open_registry(str(tmp_path / "registry.db"), create=True) as registry:
        keep(registry, NAME, decision_entry(wish(SECRET), "nurse"))
        assert SECRET.encode() in everything(tmp_path)
        erase(registry, NAME, reason="the family asked", who="registrar", when=WHEN)
        assert SECRET.encode() not in everything(tmp_path)
    assert SECRET.encode() not in everything(tmp_path)


def test_a_payload_that_is_lost_without_an_erasure_is_a_fault(store) -> None:
    keep_four(store, NAME)
    tamper(store, f"DELETE FROM payload WHERE child = '{NAME}' AND sequence < 4")
    assert len(verify(store).faults) == 3


def test_a_payload_that_comes_back_after_the_erasure_is_a_fault(erased) -> None:
    tamper(erased, f"INSERT INTO payload (child, sequence, salt, body) VALUES ('{NAME}', 1, '00', 'x')")
    assert any("entry 1" in fault.key for fault in verify(erased).faults)


def test_a_child_is_erased_from_a_backup_as_well(store, tmp_path) -> None:
    keep(store, NAME, decision_entry(wish(SECRET), "nurse"))
    back_up(store, tmp_path / "backup.db")
    with open_registry(str(tmp_path / "backup.db"), store.key) as copy:
        erase(copy, NAME, reason="the family asked", who="registrar", when=WHEN)
        assert verify(copy).faults == ()
        assert copy.entries(NAME)[0].payload is None


def test_the_history_of_an_erased_child_can_be_moved(erased, tmp_path) -> None:
    sent = read_history(history_json(erased, NAME), "history.json")
    with open_registry(str(tmp_path / "elsewhere.db"), create=True) as elsewhere:
        import_history(elsewhere, sent)
        assert verify(elsewhere).erased == {NAME: WHEN}


@pytest.mark.parametrize(
    ("child", "reason", "words"), [("elm-01", "asked", "no child elm-01"), (NAME, " ", "no reason")]
)
def test_an_erasure_that_cannot_be_is_refused(store, child, reason, words) -> None:
    keep_four(store, NAME)
    with pytest.raises(RegistryProblem, match=words):
        erase(store, child, reason=reason, who="a", when=WHEN)
    assert store.head(NAME).count == 4


def everything(folder: Path) -> bytes:
    return b"".join(path.read_bytes() for path in folder.iterdir() if path.is_file())
