"""How a skeletal age was read: the error of a reading, a stage as years and back, the ages a method is for."""

from __future__ import annotations

from pathway.protocol.model import Protocol, SkeletalMethod
from pathway.record import Sex, Visit


def skeletal_method(protocol: Protocol, id: str | None) -> SkeletalMethod | None:
    """Return the way of reading of that id, None where it is not said or the rules have none of that id."""
    return next((method for method in protocol.skeletal_methods if method.id == id), None)


def reading_sd_years(protocol: Protocol, id: str | None) -> float:
    """Return the error of one reading (one SD, years); for a way that is not said the wider one of the rules.

    The value is `skeletal_age_unknown_method_sd_years` (own judgement).
    """
    method = skeletal_method(protocol, id)
    return protocol.number("skeletal_age_unknown_method_sd_years" if method is None else method.sd_value)


def read_words(protocol: Protocol, id: str | None) -> str:
    """Return how a skeletal age was read and how exactly: `hand atlas, read ±0.4 years`."""
    method, sd = skeletal_method(protocol, id), reading_sd_years(protocol, id)
    return f"{'way of reading not recorded' if method is None else method.label}, read ±{sd:.1f} years"


def stages_of(protocol: Protocol, method: SkeletalMethod, sex: Sex) -> dict[str, float]:
    """Return the years of skeletal age by stage for one sex, in the order of the table; without stages none.

    A stage that the method does not use for that sex has no entry.
    """
    if method.stages is None:
        return {}
    table = protocol.table(method.stages)
    named = (_stage(row[0]) for row in table.rows)
    years = table.column(f"{sex}s")
    return {stage: age for stage, age in zip(named, years, strict=True) if age >= 0}


def years_of_stage(protocol: Protocol, method: SkeletalMethod, sex: Sex, stage: str) -> float | None:
    """Return the skeletal age in years that a stage stands for, None for a stage without an age in that sex."""
    return stages_of(protocol, method, sex).get(stage)


def stage_of_years(protocol: Protocol, id: str | None, sex: Sex, years: float) -> str | None:
    """Return the stage that was read where the years are those of a stage of the method, else None."""
    method = skeletal_method(protocol, id)
    found = {} if method is None else stages_of(protocol, method, sex)
    return next((stage for stage, age in found.items() if age == years), None)


def outside_ages(protocol: Protocol, visit: Visit, sex: Sex) -> tuple[float, float] | None:
    """Return the skeletal ages (years) that the method of a visit is for where its reading lies outside them."""
    method = skeletal_method(protocol, visit.skeletal_age_method)
    if method is None or visit.skeletal_age_years is None:
        return None
    low, high = method.ages(sex)
    return None if low <= visit.skeletal_age_years <= high else (low, high)


def only_a_bound(protocol: Protocol, visit: Visit, sex: Sex, age_years: float) -> str:
    """Return why a reading says nothing of a child of this age, "" where it does.

    The last stage of a method stands for every age beyond it: a girl of 15 whose elbow is closed is not one of 13.
    """
    method, years = skeletal_method(protocol, visit.skeletal_age_method), visit.skeletal_age_years
    if method is None or years is None:
        return ""
    low, high = method.ages(sex)
    if years >= high and age_years > years:
        return f"{high:g} years is the last age that can be read by {method.label} and stands for every older one"
    if method.open_below and years <= low and age_years < years:
        return f"{low:g} years is the first age that can be read by {method.label} and stands for every younger one"
    return ""


def _stage(cell: str | float) -> str:
    return cell if isinstance(cell, str) else f"{cell:g}"
