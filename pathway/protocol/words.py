"""Conditions read aloud: comparisons, values and whole trees in words, without any child's facts."""

from __future__ import annotations

from pathway.protocol.model import Condition, Protocol
from pathway.protocol.units import WITHOUT_UNIT as WITHOUT_UNIT

PREDICTED_LABELS = {
    "predicted_discrepancy_at_maturity_mm": "predicted difference at maturity",
    "predicted_femur_discrepancy_at_maturity_mm": "predicted difference of the femora at maturity",
    "predicted_tibia_discrepancy_at_maturity_mm": "predicted difference of the tibiae at maturity",
    "long_leg_growth_left_mm": "growth still to come in the long leg",
}
CHANCE_WHERE_NONE_IS_GIVEN = 0.5


def lower_first(text: str) -> str:
    """Return a label as it stands within a sentence."""
    return text[:1].lower() + text[1:]


def test_words(condition: Condition, unit: str = "") -> str:
    """Return the comparison of one leaf in words: `at least 90 deg`."""
    tail = f" {unit}" if unit else ""
    for bound, word in (
        (condition.at_least, "at least"),
        (condition.above, "more than"),
        (condition.at_most, "at most"),
        (condition.below, "less than"),
    ):
        if bound is not None:
            return f"{word} {bound:g}{tail}"
    if condition.known:
        return "known" if condition.known is True else "measured at least once"
    if condition.equals is not None:
        return plain_words(condition.equals)
    return " or ".join(plain_words(choice) for choice in condition.one_of or ())


def value_words(value: float | str | bool, unit: str = "") -> str:
    """Return a value as it is read aloud: `84 deg`, `yes`, `mobile pseudarthrosis`."""
    if isinstance(value, bool | str):
        return plain_words(value)
    number = f"{value:.2f}" if unit == "ratio" else f"{value:g}"
    return f"{number} {unit}" if unit and unit not in WITHOUT_UNIT else number


def plain_words(value: bool | str) -> str:
    """Return a choice or a flag as it is spoken: `no`, `mobile pseudarthrosis`."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value.replace("_", " ")


def finding_label(condition: Condition, protocol: Protocol) -> str:
    """Return what a leaf on a finding looks at: the finding's label, with the leg where it is the other one."""
    label = protocol.finding(str(condition.finding)).label
    return label if condition.leg == "affected" else f"{label} of the other leg"


def chance_asked(condition: Condition) -> float:
    """Return the chance (0 to 1) that a leaf on a predicted value asks for; one half where it names none."""
    return CHANCE_WHERE_NONE_IS_GIVEN if condition.chance is None else condition.chance


def condition_words(condition: Condition, protocol: Protocol) -> str:
    """Return a whole condition in words: `centre-edge angle more than 20 deg and hip joint reduced`."""
    if condition.negate is not None:
        return f"not ({condition_words(condition.negate, protocol)})"
    parts = condition.all if condition.all is not None else condition.any
    if parts is not None:
        return joined("all" if condition.all is not None else "any", [_bracketed(part, protocol) for part in parts])
    return leaf_words(condition, protocol)


def leaf_words(condition: Condition, protocol: Protocol) -> str:
    """Return one comparison in words; made once for each comparison of a protocol."""
    return protocol.said(condition, lambda: _leaf_words(condition, protocol))


def _leaf_words(condition: Condition, protocol: Protocol) -> str:
    if condition.finding is not None:
        unit = protocol.finding(condition.finding).unit
        tail = test_words(condition, unit if unit not in WITHOUT_UNIT else "")
        return f"{finding_label(condition, protocol)} {tail}"
    if condition.quantity == "age_years":
        return f"age {test_words(condition, 'years')}"
    if condition.quantity is not None:
        label = PREDICTED_LABELS.get(condition.quantity, plain_words(condition.quantity))
        return (
            f"{label} {test_words(condition, 'mm')} with a chance of at least "
            f"{round(100 * chance_asked(condition))} of 100"
        )
    if condition.classification is not None:
        return f"type {' or '.join(condition.one_of or ())} of {plain_words(condition.classification)}"
    if condition.stage is not None:
        return f"{protocol.stage(condition.stage).label.lower()} {plain_words(str(condition.equals))}"
    return f"diagnosis {diagnosis_words(str(condition.diagnosis), protocol)}"


def diagnosis_words(id: str, protocol: Protocol) -> str:
    """Return the label of a diagnosis, its id where the protocol has none of that name."""
    return next((item.label for item in protocol.diagnoses if item.id == id), id)


def joined(kind: str, parts: list[str]) -> str:
    """Return parts joined as `all` or `any` of them is read aloud."""
    return (" and " if kind == "all" else " or ").join(parts)


def _bracketed(part: Condition, protocol: Protocol) -> str:
    words = condition_words(part, protocol)
    return words if part.all is None and part.any is None and part.negate is None else f"({words})"
