"""A PostgreSQL server of our own on loopback, for as long as the tests run; None with a reason where there is none."""

from __future__ import annotations

import os
import pwd
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

WAIT = 60


def _binary(name: str) -> str | None:
    debian = sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"))
    return str(debian[-1]) if debian else shutil.which(name)


def _account() -> str | None:
    """Return the account to run as: the server refuses to run as root."""
    if os.name != "posix" or os.geteuid() != 0:
        return None
    names = {one.pw_name for one in pwd.getpwall()}
    return "postgres" if "postgres" in names else "nobody"


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@contextmanager
def running_server() -> Iterator[str]:
    """Yield `postgresql://…@127.0.0.1:port`; raises LookupError with the reason where there can be no server."""
    initdb, control = _binary("initdb"), _binary("pg_ctl")
    if initdb is None or control is None:
        raise LookupError("PostgreSQL is not installed (initdb and pg_ctl; Debian package `postgresql`)")
    account = _account()
    folder = Path(tempfile.mkdtemp(prefix="registry-server-"))
    if account is not None:
        shutil.chown(folder, account)
    data, port = folder / "data", _free_port()

    def run(*command: str) -> None:
        done = subprocess.run(
            command, user=account, cwd=folder, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, check=False
        )
        if done.returncode:
            raise LookupError(f"{Path(command[0]).name} failed: {done.stderr.strip()[-200:]}")

    settings = (
        f"-p {port} -h 127.0.0.1 -c unix_socket_directories= -c fsync=off -c max_connections=40 -c shared_buffers=16MB"
    )
    try:
        run(initdb, "-D", str(data), "-U", "tests", "-A", "trust", "-E", "UTF8", "--no-locale", "-N")
        run(control, "-D", str(data), "-l", str(folder / "log"), "-w", "-t", str(WAIT), "-o", settings, "start")
        try:
            yield f"postgresql://tests@127.0.0.1:{port}"
        finally:
            run(control, "-D", str(data), "-m", "immediate", "-w", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)
