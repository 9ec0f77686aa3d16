"""The cited sources as CSL-JSON, which reference managers and citation processors read."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

from pathway.exports.sources.parts import Author, Cited, citable
from pathway.protocol.base import Source


def csl_json(sources: Iterable[Source]) -> str:
    """Return every citable source as an item under its id, in the order of ids, as the text of one JSON array."""
    return json.dumps([_item(one) for one in citable(sources)], ensure_ascii=False, indent=2) + "\n"


def _item(one: Cited) -> dict[str, Any]:
    source = one.source
    pages = "webpage" if source.kind == "page" else "document"
    names = [_name(author) for author in one.authors] + ([{"literal": "et al."}] if one.others else [])
    fields: dict[str, Any] = {
        "id": source.id,
        "type": "article-journal" if one.journal else pages,
        "title": one.title,
        "author": names,
        "container-title": one.journal,
        "issued": None if one.year is None else {"date-parts": [[one.year]]},
        "volume": one.volume,
        "issue": one.issue,
        "page": one.pages,
        "DOI": source.doi,
        "PMID": source.pmid,
        "URL": source.address,
        "note": one.note,
    }
    return {name: value for name, value in fields.items() if value}


def _name(author: Author) -> dict[str, str]:
    return {"family": author.family, **({"given": author.given} if author.given else {})}
