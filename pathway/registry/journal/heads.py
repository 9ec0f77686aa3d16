"""The heads of all chains as a small file that is kept apart from the registry. Pure: text in, text out."""

from __future__ import annotations

import datetime
import json
import re
from collections.abc import Mapping

from pathway.registry.journal.chain import when_text
from pathway.registry.journal.entry import Head
from pathway.registry.problem import problem

FORM = 1


def heads_json(heads: Mapping[str, Head], taken: datetime.datetime) -> str:
    """Return the heads as JSON, with the moment at which they were taken."""
    each = {child: {"count": head.count, "sha256": head.sha256} for child, head in sorted(heads.items())}
    return json.dumps({"schema_version": FORM, "taken": when_text(taken), "heads": each}, indent=2) + "\n"


def read_heads(text: str, name: str) -> dict[str, Head]:
    """Return the heads that `heads_json` wrote. Raises `RegistryProblem` for any other text."""
    try:
        data = json.loads(text)
        if data["schema_version"] != FORM:
            raise ValueError("another form")
        heads = {str(child): Head(int(one["count"]), str(one["sha256"])) for child, one in data["heads"].items()}
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        heads = None
    if heads is None or not all(re.fullmatch("[0-9a-f]{64}", head.sha256) for head in heads.values()):
        do = "name a file written by `limb-pathway registry heads -o FILE`, or a backup"
        raise problem(name, "something else than kept heads", "the heads of a registry (JSON)", do)
    return heads
