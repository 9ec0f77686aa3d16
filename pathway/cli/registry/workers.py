"""Who plans: the cores of this machine, or a cluster behind the same interface; and what to say when they are lost."""

from __future__ import annotations

import importlib
import logging
import os
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pathway.cli.errors import refuse
from pathway.registry.planning import nobody_missing

if TYPE_CHECKING:
    from concurrent.futures import Executor

CONNECT_SECONDS = 10


@dataclass(frozen=True, slots=True)
class Workers:
    """Something that plans; `trouble` says in words what is wrong with it, "" where nothing is known to be."""

    executor: Executor
    trouble: Callable[[], str] = nobody_missing


@contextmanager
def workers(cluster: str | None) -> Iterator[Workers]:
    """Yield all cores of this machine, or a cluster by the address of its scheduler.

    Raises Refused where nobody answers there. Workers may come later: some clusters start them for the work.
    """
    if cluster is None:
        from concurrent.futures import ProcessPoolExecutor

        # Ctrl+C reaches every process of the terminal: only this one answers, the others finish what they have.
        ignoring = (signal.SIGINT, signal.SIG_IGN)
        with ProcessPoolExecutor(os.cpu_count() or 1, initializer=signal.signal, initargs=ignoring) as executor:
            yield Workers(executor)
        return
    try:
        library: Any = importlib.import_module("distributed")
    except ImportError:
        remedy = "install it with `pip install limb-pathway[cluster]`"
        refuse("--cluster", "no dask.distributed", "it", remedy)
    _silence()
    try:
        client = library.Client(cluster, timeout=f"{CONNECT_SECONDS}s")
    except (OSError, ValueError) as error:
        refuse("--cluster", f"no scheduler at {cluster} ({error})", "one", "check the address")
    try:
        yield Workers(client.get_executor(), lambda: trouble_of(client, cluster))
    finally:
        with suppress(Exception):  # a scheduler that is gone cannot be taken leave of
            client.close(timeout=CONNECT_SECONDS)


def trouble_of(client: Any, cluster: str) -> str:
    """Return what is wrong with a cluster: its scheduler is gone or has nobody who works; "" where nothing is."""
    gone = f"the scheduler at {cluster} is gone"
    if client.status != "running":
        return gone
    try:
        found = client.nthreads()
    except Exception:  # whatever the library raises when nobody answers
        return gone
    return "" if found else f"no worker is left at the scheduler {cluster}"


def _silence() -> None:
    """Keep the library's own log of what is told in a sentence away from the person: it prints tracebacks."""
    for name in [name for name in logging.root.manager.loggerDict if name.split(".")[0] == "distributed"]:
        logging.getLogger(name).setLevel(logging.CRITICAL + 1)
