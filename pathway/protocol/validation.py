"""What does not fit the shape of a rule, said with the file, the rule and the field."""

from __future__ import annotations

from pydantic import ValidationError

from pathway.problems import Problem


def faults_of_validation(error: ValidationError, file: str, rule: str) -> list[Problem]:
    """Return one fault for each field that does not fit."""
    faults = []
    for item in error.errors():
        field = ".".join(str(part) for part in item["loc"])
        key = f"rule {rule}, field {field}" if field else f"rule {rule}"
        found = "nothing" if item["type"] == "missing" else repr(item["input"])[:80]
        faults.append(Problem(file, key, None, found, item["msg"].removeprefix("Value error, "), "correct the rule"))
    return faults
