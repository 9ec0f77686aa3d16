"""Benchmarks run where they are asked for (`--benchmark-enable`); the ordinary run of the tests leaves them out."""

from __future__ import annotations

from pathlib import Path

import pytest

HERE = Path(__file__).parent


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if config.getoption("benchmark_enable"):
        return
    for item in items:
        if HERE in item.path.parents:
            item.add_marker(pytest.mark.skip(reason="a benchmark: run with --benchmark-enable"))
