"""What the registry gives for a clinic's own results: what was kept, read out of its text as it would be as a whole."""

from __future__ import annotations

import copy
import datetime
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from pathway.protocol.load import load_protocol
from pathway.registry.journal.chain import payload_text
from pathway.registry.journal.kept_parts import PARTS, parts_of_revision
from pathway.registry.journal.payloads import PAYLOAD_VERSION, UnreadablePayload, case_entry, revision_entry
from pathway.registry.own_results import LeftOut, each_known
from pathway.registry.planning import _revision
from pathway.registry.store import open_registry
from pathway.results.child import Known
from tests.examples import NAMES, ON, example, example_plan
from tests.registry.keeping import keep, named

PROTOCOL = load_protocol()
LATER = datetime.date(2030, 1, 1)
HOSTILE = 'end of it "},"stages":[],"growth":{"by_age":[]},"plan":{"alternatives":[]}'
"""A text that looks like the parts that are looked for."""


def needed(plan: Mapping[str, Any]) -> dict[str, Any]:
    """Return the parts of a plan without what results never read: other courses, grounds, gates that nobody waived."""
    parts = copy.deepcopy({part: plan[part] for part in PARTS})
    parts["alternatives"] = [course for course in parts["alternatives"] if course["recommended"]]
    for stage in parts["stages"]:
        stage["because"] = []
        stage["gates"] = [gate for gate in stage["gates"] if gate["state"] == "waived"]
    return parts


def payload(name: str, *, accepted: bool = True, reason: str = "") -> dict[str, object]:
    return dict(revision_entry(_revision(example_plan(name), True, reason, accepted=accepted, by=""), "a").payload)


@pytest.mark.parametrize("name", NAMES)
def test_the_parts_of_a_kept_plan_are_those_of_the_whole(name: str) -> None:
    whole = payload(name)
    found = parts_of_revision(payload_text(whole), PAYLOAD_VERSION)
    assert (found.accepted, found.on) == (True, ON)
    plan = whole["plan"]
    assert isinstance(plan, dict)
    assert needed(found.plan) == needed(plan)


def test_a_text_that_looks_like_a_part_misleads_nobody() -> None:
    whole = payload("rowan-02", reason=HOSTILE, accepted=False)
    plan = whole["plan"]
    assert isinstance(plan, dict)
    spoiled = {**whole, "plan": {**plan, "notices": [HOSTILE], "child": {**plan["child"], "note": HOSTILE}}}
    found = parts_of_revision(payload_text(spoiled), PAYLOAD_VERSION)
    assert not found.accepted
    assert needed(found.plan) == needed(plan)


def test_a_gate_that_was_waived_is_read_with_its_reason() -> None:
    whole = copy.deepcopy(payload("rowan-02"))
    plan = whole["plan"]
    assert isinstance(plan, dict)
    gates = next(stage["gates"] for stage in plan["stages"] if len(stage["gates"]) > 1)
    gates[1] |= {"state": "waived", "waived_because": HOSTILE}
    found = parts_of_revision(payload_text(whole), PAYLOAD_VERSION)
    read = [
        gate["waived_because"] for stage in found.plan["stages"] for gate in stage["gates"] if gate["state"] == "waived"
    ]
    assert read == [HOSTILE]


def test_a_payload_that_was_written_otherwise_is_read_as_a_whole() -> None:
    whole = payload("rowan-02")
    turned = json.dumps(dict(reversed(whole.items())), indent=1)
    plan = whole["plan"]
    assert isinstance(plan, dict)
    assert dict(parts_of_revision(turned, PAYLOAD_VERSION).plan) == {part: plan[part] for part in PARTS}
    with pytest.raises(UnreadablePayload):
        parts_of_revision('{"plan":{}}', PAYLOAD_VERSION)


def test_children_come_one_by_one_with_their_accepted_plans_and_who_cannot_be_read_is_named(tmp_path: Path) -> None:
    with open_registry(str(tmp_path / "registry.db"), create=True) as registry:
        accepted, only_kept = (payload("rowan-02", accepted=yes) for yes in (True, False))
        entries = [revision_entry_of(one) for one in (only_kept, accepted)]
        keep(registry, "maple-1", case_entry(named("maple-1", example("rowan-02")), "a"), *entries)
        keep(registry, "maple-2")
        found = list(each_known(registry, PROTOCOL, LATER))
    assert [type(one) for one in found] == [Known, Known]
    first, second = (one for one in found if isinstance(one, Known))
    assert [one.number for one in first.revisions] == [2]
    assert second.revisions == ()
    assert first.revisions[0].curve is not None


def revision_entry_of(data: dict[str, object]):
    from pathway.registry.journal.payloads import Revision

    return revision_entry(Revision.model_validate(data), "a")


def test_one_child_that_cannot_be_read_hides_no_other(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from pathway.registry import own_results

    with open_registry(str(tmp_path / "registry.db"), create=True) as registry:
        keep(registry, "maple-1")
        keep(registry, "maple-2")
        whole = own_results.record_of

        def broken(entries):
            record = whole(entries)
            if record.child.id == "maple-1":
                raise ValueError("an entry that was altered.")
            return record

        monkeypatch.setattr(own_results, "record_of", broken)
        found = list(each_known(registry, PROTOCOL, LATER))
    assert [one.child if isinstance(one, LeftOut) else one.record.child.id for one in found] == ["maple-1", "maple-2"]
    assert found[0] == LeftOut("maple-1", "an entry that was altered")
