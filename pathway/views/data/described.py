"""What each property of a printed JSON means: the lines of `descriptions.toml`, put into a JSON Schema."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cache
from importlib import resources
from typing import Any

import tomli

Schema = dict[str, Any]
Texts = Mapping[str, Mapping[str, str]]

EVERY = "*"
"""The table of fields that mean the same in every class."""
LIKE = "like"
"""Names the class whose lines hold where a class has none of its own."""


@cache
def descriptions() -> Texts:
    """Return the lines by class and field."""
    file = resources.files(__name__.rpartition(".")[0]).joinpath("descriptions.toml")
    texts: Texts = tomli.loads(file.read_text(encoding="utf-8"))
    return texts


def described(verb: str, schema: Schema, texts: Texts) -> Schema:
    """Return a schema made from models, with a description at every property for which its model gives none.

    The title of the schema itself, and the names of its definitions, are those of the classes.
    """
    made = _described(verb, str(schema.get("title", "")), schema, texts)
    if "$defs" not in schema:
        return made
    return {**made, "$defs": {name: _described(verb, name, one, texts) for name, one in schema["$defs"].items()}}


def table_of(verb: str, name: str, field: str, texts: Texts) -> str | None:
    """Return in which table the line of a field stands; None where there is none.

    First `verb/Class`, for classes of one name that mean different things; then the class, the one it is like, all.
    """
    tables = _tables(verb, name, texts)
    return next((table for table in tables if field in texts.get(table, {})), None)


def _tables(verb: str, name: str, texts: Texts) -> Iterator[str]:
    yield f"{verb}/{name}"
    at = name
    while at:
        yield at
        at = texts.get(at, {}).get(LIKE, "")
    yield EVERY


def _described(verb: str, name: str, schema: Schema, texts: Texts) -> Schema:
    if "properties" not in schema:
        return schema
    told = {field: _property(verb, name, field, one, texts) for field, one in schema["properties"].items()}
    return {**schema, "properties": told}


def _property(verb: str, name: str, field: str, schema: Schema, texts: Texts) -> Schema:
    table = table_of(verb, name, field, texts)
    # Beside a `$ref` a description is allowed since 2019-09: it says what the property is, not what it refers to.
    return schema if table is None or "description" in schema else {"description": texts[table][field], **schema}
