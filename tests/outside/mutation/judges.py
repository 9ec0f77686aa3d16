"""The judges of a mutant: the cases that are kept as data, and the proofs; the first that objects catches it."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path
from typing import Any

from pathway.protocol.check import faults_of
from pathway.protocol.load import load_protocol
from pathway.protocol.model import Condition, Protocol
from pathway.protocol.prove import prove
from pathway.protocol.prove.wording import wording_faults
from pathway.rule_engine.conditions import judge
from tests.outside.mutation.mutants import Mutant
from tests.outside.published.test_thresholds import WORDS, leaves
from tests.rule_engine.facts_of_case import facts_of_case
from tests.rule_engine.test_rule_cases import FILES, state_of
from tests.rule_engine.test_table import NEEDS, ROWS, Judged, judged

THRESHOLDS: list[dict[str, Any]] = tomllib.loads(
    (Path(__file__).parents[1] / "published" / "thresholds.toml").read_text(encoding="utf-8")
)["row"]
HERE = Path(__file__).parent
BOUNDS: list[dict[str, Any]] = tomllib.loads((HERE / "bounds.toml").read_text(encoding="utf-8"))["case"]


def caught_by(mutant: Mutant) -> str:
    """Return the name of the first judge that objects to a mutant, or nothing when it survives.

    An error while judging is an objection too. The quick judges are asked first.
    """
    for name, objects in JUDGES.items():
        try:
            if objects(mutant):
                return name
        except (KeyError, IndexError, ValueError):
            return name
    return ""


def _conditions(protocol: Protocol) -> dict[str, Condition]:
    return {
        **{rule.id: rule.requires for rule in protocol.gates},
        **{rule.id: rule.when for rule in protocol.indications},
        **{rule.id: rule.when for rule in protocol.contraindications},
        **{kind.id: kind.when for scheme in protocol.classifications for kind in scheme.types},
        **{goal.id: goal.requires for goal in protocol.goals if goal.requires is not None},
        **{visit.id: visit.when for visit in protocol.follow_ups if visit.when is not None},
        **{rule.id: rule.tested for rule in protocol.devices if rule.tested is not None},
        **{rule.id: rule.when for rule in protocol.both_sided if rule.when is not None},
        **{rule.id: rule.when for rule in (*protocol.amount_limits, *protocol.cautions) if rule.when is not None},
        **{rule.id: rule.when for rule in protocol.spans},
    }


@cache
def _facts(rule: str, number: int) -> Any:
    return facts_of_case(FILES[rule]["case"][number], load_protocol())


def rule_cases(mutant: Mutant) -> bool:
    """The cases of the changed rule: each must come out as written, and a rule with cases must be there."""
    if mutant.rule not in FILES:
        return False
    condition = _conditions(mutant.protocol).get(mutant.rule)
    if condition is None:
        return True
    return any(
        state_of(judge(condition, _facts(mutant.rule, number), mutant.protocol)) != case["state"]
        for number, case in enumerate(FILES[mutant.rule]["case"])
    )


def published_thresholds(mutant: Mutant) -> bool:
    """The published numbers and words that must stand in the changed rule."""
    rows = [row for row in THRESHOLDS if mutant.rule in row.get("rules", ())]
    if not rows:
        return False
    named = {id for row in rows for id in row["rules"]}
    known = {item.id: item.model_dump() for item in _all(mutant.protocol) if item.id in named}
    return any(not _stands(row, known) for row in rows)


def _stands(row: dict[str, Any], known: dict[str, Any]) -> bool:
    if set(row["rules"]) - known.keys():
        return False
    found = [pair for id in row["rules"] for pair in leaves(known[id])]
    numbers = {float(value) for _, value in found if isinstance(value, int | float) and not isinstance(value, bool)}
    words = "\n".join(value for name, value in found if name not in WORDS and isinstance(value, str))
    return {float(number) for number in row.get("numbers", ())} <= numbers and all(
        said in words for said in row.get("says", ())
    )


def _all(protocol: Protocol) -> Iterator[Any]:
    yield from protocol.rules()
    for group in (protocol.findings, protocol.stages, protocol.classifications, protocol.disagreements):
        yield from group


def bounds(mutant: Mutant) -> bool:
    """The months, amounts and numbers on both sides of each bound of the changed rule."""
    return any(not holds_as_written(case, mutant.protocol) for case in BOUNDS if case["rule"] == mutant.rule)


def holds_as_written(case: dict[str, Any], protocol: Protocol) -> bool:
    """Return whether a case of bounds.toml comes out: the fields are as said, and each number is allowed or not."""
    found = {item.id: item for item in _all(protocol)}
    item = found.get(case["rule"])
    if item is None:
        return False
    low, high = _range(item)
    allowed = [low <= number <= high for number in case.get("allowed", ())]
    refused = [low <= number <= high for number in case.get("refused", ())]
    fields = [_plain(getattr(item, name)) == value for name, value in case.get("is", {}).items()]
    return all(allowed) and not any(refused) and all(fields)


def _plain(value: Any) -> Any:
    return list(value) if isinstance(value, tuple) else "" if value is None else value


def _range(item: Any) -> tuple[float, float]:
    low = getattr(item, "at_least_months", None)
    highs = [getattr(item, name, None) for name in ("at_most_months", "most_mm", "most_percent")]
    return (low or 0), min((high for high in highs if high is not None), default=float("inf"))


def shape(mutant: Mutant) -> bool:
    """The quick part of the proofs: ids, references, sources, ranges, words."""
    return bool(faults_of(mutant.protocol)) or any(wording_faults(mutant.protocol))


def proofs(mutant: Mutant) -> bool:
    """The proofs of the rule set."""
    return bool(prove(mutant.protocol))


def staging_table(mutant: Mutant) -> bool:
    """The children of the literature with their classes, stages, gates and reasons."""
    named = mutant.names
    return any(not _as_published(row, mutant.protocol) for row in ROWS if any(name in repr(row) for name in named))


def _as_published(row: dict[str, Any], protocol: Protocol) -> bool:
    found = judged(row, protocol)
    gates = found.gates()
    return (
        all(found.classes.get(scheme) == kind for scheme, kind in row.get("classes", {}).items())
        and all(found.need(kind) == need for need in ("none", *NEEDS) for kind in row.get(need, ()))
        and all(
            [rule.id for rule, _ in found.graph.of_kind(kind)[0].indicated] == [rule_id]
            for kind, rule_id in row.get("reason", {}).items()
        )
        and ("stands" not in row or _stand(found) == (row["stands"], set(row.get("grounds", ()))))
        and all(gates.get(gate) == state for gate, state in row.get("gates", {}).items())
        and all(
            sorted(rule.id for rule, _ in found.graph.of_kind(kind)[0].against) == sorted(rules)
            for kind, rules in row.get("against", {}).items()
        )
    )


def _stand(found: Judged) -> tuple[str, set[str]]:
    standing = found.graph.standing
    assert standing is not None
    return standing.stands or "lengthening alone", {rule.id for rule, _ in standing.grounds}


JUDGES: dict[str, Callable[[Mutant], bool]] = {
    "rule cases": rule_cases,
    "published thresholds": published_thresholds,
    "bounds": bounds,
    "shape": shape,
    "proofs": proofs,
    "staging table": staging_table,
}
