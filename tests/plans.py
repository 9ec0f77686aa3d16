"""What the tests of pictures and screens need of the example children, each read and planned once a run."""

from __future__ import annotations

from functools import cache

from pathway.protocol.load import load_protocol
from pathway.protocol.model import Protocol
from tests.examples import FILES
from tests.examples import ON as DAY
from tests.examples import example as record
from tests.examples import example_plan as plan

__all__ = ["DAY", "files", "plan", "record", "rules"]


@cache
def files() -> dict[str, str]:
    return {path.stem: path.read_text(encoding="utf-8") for path in FILES}


@cache
def rules() -> Protocol:
    return load_protocol()
