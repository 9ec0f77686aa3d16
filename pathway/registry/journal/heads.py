"""The heads of all chains as a small file that is kept apart from the registry. Pure: text in, text out."""

from __future__ import annotations

import datetime
import json
import re
from collections.abc import Mapping
from dataclasses import asdict

from pathway.registry.journal.chain import when_text
from pathway.registry.journal.entry import Head
from pathway.registry.journal.signed import KnownHead, SignedHead
from pathway.registry.problem import problem

FORM = 1


def heads_json(heads: Mapping[str, Head], taken: datetime.datetime, registry: SignedHead | None = None) -> str:
    """Return the heads as JSON, with the signed head of the whole registry and the moment at which they were taken."""
    each = {child: {"count": head.count, "sha256": head.sha256} for child, head in sorted(heads.items())}
    whole = None if registry is None else asdict(registry)
    data = {"schema_version": FORM, "taken": when_text(taken), "heads": each, "registry": whole}
    return json.dumps(data, indent=2) + "\n"


def read_heads(text: str, name: str) -> tuple[dict[str, Head], KnownHead | None]:
    """Return the heads that `heads_json` wrote, and that of the whole registry where it stands there.

    Raises `RegistryProblem` for any other text.
    """
    try:
        data = json.loads(text)
        if data["schema_version"] != FORM:
            raise ValueError("another form")
        whole = data.get("registry")
        known = None if whole is None else KnownHead(int(whole["size"]), str(whole["root"]), f"kept in {name}")
        heads = {str(child): Head(int(one["count"]), str(one["sha256"])) for child, one in data["heads"].items()}
        hashes = [head.sha256 for head in heads.values()] + ([] if known is None else [known.root])
        if all(re.fullmatch("[0-9a-f]{64}", one) for one in hashes):
            return heads, known
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        pass
    do = "name a file written by `limb-pathway registry heads -o FILE`, or a backup"
    raise problem(name, "something else than kept heads", "the heads of a registry (JSON)", do)


def read_shown(text: str) -> KnownHead | None:
    """Return the head that was printed on paper (`1234 · 9f3a…`) and typed off, None for any other text."""
    found = re.fullmatch(r"(\d{1,12})\s*[·:. ]\s*([0-9a-f]{16,64})(?:…|\.\.\.)?", text.strip().lower())
    return None if found is None else KnownHead(int(found[1]), found[2], "read off paper")
