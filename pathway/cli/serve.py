"""The verb that shows the screens in a browser of the same machine. An edge."""

from __future__ import annotations

import datetime
import shlex
import subprocess
import sys
from pathlib import Path

import click

from pathway.cli.case import BAD_INPUT, is_example, named_files, on_option
from pathway.cli.registry_options import by_option, opened, refuse, registry_options
from pathway.cli.rules import protocol_of, protocol_option

PORT = 8765


@click.command()
@click.argument("cases", nargs=-1, type=click.Path(path_type=Path), metavar="[CASE]...")
@click.option("--host", default="127.0.0.1", show_default=True, help="This machine only: 127.0.0.1, ::1 or localhost.")
@click.option("--port", type=click.IntRange(0, 65535), default=PORT, show_default=True, help="0 picks a free one.")
@on_option
@protocol_option
@by_option
@registry_options
def serve(
    cases: tuple[Path, ...],
    host: str,
    port: int,
    on: datetime.date | None,
    clinic: Path | None,
    by: str | None,
    address: str | None,
    key_file: Path | None,
    ask_key: bool,
) -> None:
    """Show the screens in a browser of this machine; prints the address to open. Ctrl+C ends it.

    CASE is a case file or a folder of them; where none is named the children of the registry open, the example
    children where there is no registry.

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
    if cases:
        named_files([case for case in cases if not is_example(case)])
    elif address is not None:
        if ask_key:
            refuse("serve: --ask-key does not work in a browser, expected --key-file; write the key to a file.")
        with opened(address, key_file, ask_key=False):
            pass  # what is wrong with it is said here, not in the browser
    if clinic is not None:
        protocol_of(clinic)
    try:
        server = OwnServer(_command(cases, on, clinic, by, address, key_file), host, port or free_port(host))
        click.echo(f"Open {server.address}", err=True)
        click.echo(
            "Planning aid: the treating surgeon decides; follow local protocol. Ctrl+C ends the server.", err=True
        )
        server.serve()
    except OSError as error:
        click.echo(f"serve: found port {port} of {host} in use or closed ({error.strerror}), ", nl=False, err=True)
        click.echo("expected a free one; name another with --port, or --port 0.", err=True)
        sys.exit(BAD_INPUT)


def _command(
    cases: tuple[Path, ...],
    on: datetime.date | None,
    clinic: Path | None,
    by: str | None,
    address: str | None,
    key_file: Path | None,
) -> str:
    """Return the command that is started for each visitor, quoted for the shell of the system."""
    options: dict[str, object] = {"--on": on, "--protocol": clinic}
    if not cases:
        options |= {"--by": by, "--registry": address, "--key-file": key_file}
    given = [word for name, value in options.items() if value is not None for word in (name, str(value))]
    what = ["open", *given, "--", *(str(case) for case in cases)] if cases else given
    words = [sys.executable, "-m", "pathway.cli", *what]
    return subprocess.list2cmdline(words) if sys.platform == "win32" else shlex.join(words)
