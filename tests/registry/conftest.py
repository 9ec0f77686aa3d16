"""A registry in each of the places where one may lie."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from contextlib import ExitStack

import pytest
from sqlalchemy import create_engine, text

from pathway.registry.store import Registry, open_registry
from tests.registry.server import running_server

KEY = "a long key, with 'quotes'"
_numbers = itertools.count()


@pytest.fixture(scope="session")
def server() -> Iterator[str]:
    """Yield the address of a PostgreSQL server, or skip saying why there is none."""
    pytest.importorskip("psycopg", reason="psycopg is not installed: no test on PostgreSQL")
    with ExitStack() as stack:
        try:
            yield stack.enter_context(running_server())
        except LookupError as reason:
            pytest.skip(f"no test on PostgreSQL: {reason}")


@pytest.fixture
def database(server: str) -> Iterator[str]:
    """Yield the address of an empty database of its own."""
    name = f"registry_{next(_numbers)}"
    engine = create_engine(
        server.replace("postgresql", "postgresql+psycopg") + "/postgres", isolation_level="AUTOCOMMIT"
    )
    with engine.connect() as connection:
        connection.execute(text(f"CREATE DATABASE {name}"))
        yield f"{server}/{name}"
        connection.execute(text(f"DROP DATABASE {name} WITH (FORCE)"))
    engine.dispose()


@pytest.fixture(params=["sqlite", "postgresql"])
def address(request: pytest.FixtureRequest) -> str:
    """Return where a registry may be made: a file, and a server."""
    if request.param == "postgresql":
        return request.getfixturevalue("database")
    return str(request.getfixturevalue("tmp_path") / "registry.db")


@pytest.fixture(params=["sqlite", "encrypted", "postgresql"])
def store(request: pytest.FixtureRequest) -> Iterator[Registry]:
    """Yield an empty registry: a file, an encrypted file, and a server."""
    if request.param == "postgresql":
        address, key = request.getfixturevalue("database"), None
    else:
        address, key = str(request.getfixturevalue("tmp_path") / "registry.db"), None
    if request.param == "encrypted":
        pytest.importorskip("sqlcipher3", reason="sqlcipher3 is not installed: no test on an encrypted registry")
        key = KEY
    with open_registry(address, key, create=True) as registry:
        yield registry
