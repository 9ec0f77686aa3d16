"""The verb that shows the screens in a browser of the same machine. An edge."""

from __future__ import annotations

import datetime
import shlex
import subprocess
import sys
from pathlib import Path

import click

from pathway.cli_case import BAD_INPUT, on_option, read_case_file
from pathway.cli_rules import protocol_of, protocol_option

PORT = 8765


@click.command()
@click.argument("cases", nargs=-1, type=click.Path(path_type=Path), metavar="[CASE]...")
@click.option("--host", default="127.0.0.1", show_default=True, help="This machine only: 127.0.0.1, ::1 or localhost.")
@click.option("--port", type=click.IntRange(0, 65535), default=PORT, show_default=True, help="0 takes a free one.")
@on_option
@protocol_option
def serve(cases: tuple[Path, ...], host: str, port: int, on: datetime.date | None, clinic: Path | None) -> None:
    """Show the screens in a browser of this machine; prints the address to open. Ctrl+C ends it.

    Needs `pip install 'limb-pathway[web]'`. The address holds a key: who has it works with your rights.
    """
    try:
        from tui.web.server import NotLoopback, OwnServer, free_port, loopback
    except ImportError:
        wanted = "install it with `pip install 'limb-pathway[web]'`"
        click.echo(f"serve: found no textual-serve, expected it; {wanted}.", err=True)
        sys.exit(BAD_INPUT)
    try:
        loopback(host)
    except NotLoopback as error:
        click.echo(f"{error}.", err=True)
        sys.exit(BAD_INPUT)
    for case in cases:
        read_case_file(case)
    if clinic is not None:
        protocol_of(clinic)
    try:
        server = OwnServer(_command(cases, on, clinic), host, port or free_port(host))
        click.echo(f"Open {server.address}", err=True)
        click.echo(
            "Planning aid: the treating surgeon decides; follow local protocol. Ctrl+C ends the server.", err=True
        )
        server.serve()
    except OSError as error:
        click.echo(f"serve: found port {port} of {host} in use or closed ({error.strerror}), ", nl=False, err=True)
        click.echo("expected a free one; name another with --port, or --port 0.", err=True)
        sys.exit(BAD_INPUT)


def _command(cases: tuple[Path, ...], on: datetime.date | None, clinic: Path | None) -> str:
    """Return the command that is started for each visitor, quoted for the shell of the system."""
    day = ["--on", str(on)] if on is not None else []
    rules = ["--protocol", str(clinic)] if clinic is not None else []
    words = [sys.executable, "-m", "pathway.cli", "open", *day, *rules, "--", *(str(case) for case in cases)]
    return subprocess.list2cmdline(words) if sys.platform == "win32" else shlex.join(words)
