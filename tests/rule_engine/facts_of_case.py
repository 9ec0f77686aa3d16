"""Facts for one case of a rule: findings as they stand in a record, everything else as the case says."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import Any

import numpy as np

from pathway.days import add_months
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.record import Value
from pathway.rule_engine.conditions import ClassFact, Facts
from pathway.rule_engine.findings import NEVER_MEASURED, Findings, Known, Unknown, findings_on
from tests.sample import child, visit

ON = datetime.date(2026, 11, 18)
BORN = datetime.date(2016, 3, 14)


def facts_of_case(case: Mapping[str, Any], protocol: Protocol) -> Facts:
    """Return the facts of a case.

    `findings` were measured on the day, `old` so long ago that they no longer count, what is not named was
    never measured. `predicted_mm` gives draws, `classes` types, `planned`, `offered`, `wished` and `done` stages.
    """
    return Facts(
        age_years=case.get("age_years", 5.0),
        sex="girl",
        diagnosis=case.get("diagnosis", "congenital_femoral_deficiency"),
        findings=_findings(case.get("findings", {}), case.get("old", {}), protocol),
        predicted={name: np.array(draws, dtype=float) for name, draws in case.get("predicted_mm", {}).items()},
        classes={name: ClassFact(kind) for name, kind in case.get("classes", {}).items()},
        done=dict.fromkeys(case.get("done", ()), ON),
        planned=frozenset(case.get("planned", ())),
        offered=frozenset(case.get("offered", ())),
        wished=frozenset(case.get("wished", ())),
    )


def _findings(now: Mapping[str, Value], old: Mapping[str, Value], protocol: Protocol) -> Findings:
    """Findings that are entered go through a record; derived ones are put where the record would put them."""
    visits = [visit(ON, {name: value for name, value in now.items() if not protocol.finding(name).derived})]
    for name, value in old.items():
        rule = protocol.finding(name)
        if not rule.derived:
            assert rule.valid_months is not None, f"{name} never goes out of date"
            visits.append(visit(add_months(ON, -rule.valid_months), {name: value}))
    record = child(*sorted(visits, key=lambda item: item.date), born=BORN)
    held = dict(findings_on(Question(record, protocol, ON)))
    for name in (rule.id for rule in protocol.findings if rule.derived):
        held[name, "affected"] = NEVER_MEASURED
        if name in now:
            held[name, "affected"] = Known(now[name], protocol.finding(name).sd, ON, "computed")
        elif name in old:
            last = Known(old[name], protocol.finding(name).sd, BORN, "computed")
            held[name, "affected"] = Unknown("out_of_date", last)
    return held
