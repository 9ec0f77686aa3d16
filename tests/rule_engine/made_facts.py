"""Facts for tests of conditions: findings by name, everything else as asked."""

from __future__ import annotations

import datetime
from collections.abc import Sequence

import numpy as np

from pathway.protocol.model import Condition
from pathway.record import Value
from pathway.rule_engine.conditions import ClassFact, Facts
from pathway.rule_engine.findings import Known, Unknown

MEASURED = datetime.date(2026, 11, 18)


def known(value: Value, sd: float = 4.0) -> Known:
    return Known(value, sd, MEASURED, "supine_hip_film")


def facts(
    findings: dict[str, Known | Unknown | Value] | None = None,
    *,
    other: dict[str, Known | Unknown | Value] | None = None,
    age_years: float = 5.0,
    diagnosis: str = "congenital_femoral_deficiency",
    predicted: dict[str, Sequence[float]] | None = None,
    classes: dict[str, ClassFact] | None = None,
    done: tuple[str, ...] = (),
    planned: tuple[str, ...] = (),
) -> Facts:
    held = {}
    for leg, group in (("affected", findings or {}), ("other", other or {})):
        for name, fact in group.items():
            held[name, leg] = fact if isinstance(fact, Known | Unknown) else known(fact)
    return Facts(
        age_years=age_years,
        sex="girl",
        diagnosis=diagnosis,
        findings=held,  # type: ignore[arg-type]
        predicted={name: np.array(draws, dtype=float) for name, draws in (predicted or {}).items()},
        classes=classes or {},
        done=dict.fromkeys(done, MEASURED),
        planned=frozenset(planned),
    )


def condition(**form: object) -> Condition:
    return Condition.model_validate(form)


# Three findings of the catalogue that stand for any: a leaf on each can be made to hold, fail or be unknown.
FLAGS = ("hip_mobile", "knee_dislocated", "patella_dislocated")
FLAG_OF_STATE: dict[str, Known | Unknown] = {
    "holds": known(True),
    "fails": known(False),
    "unknown": Unknown("never_measured"),
}


def flag(number: int) -> Condition:
    return condition(finding=FLAGS[number], equals=True)


def with_states(*states: str) -> Facts:
    return facts({FLAGS[k]: FLAG_OF_STATE[state] for k, state in enumerate(states)})
