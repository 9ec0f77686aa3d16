"""The verb that shows the screens in a browser of the same machine."""

from __future__ import annotations

import datetime
import shlex
import subprocess
import sys
from pathlib import Path

import click

from pathway.cli.asked import opened, protocol_of
from pathway.cli.errors import note, refuse
from pathway.cli.options import (
    RegistryOptions,
    by_option,
    cases_argument,
    on_option,
    protocol_option,
    registry_options,
)
from pathway.views.words.caution import CAUTION

PORT = 8765
VISITORS = 4
IDLE_MINUTES = 60


@click.command()
@cases_argument
@click.option("--host", default="127.0.0.1", show_default=True, help="This machine only: 127.0.0.1, ::1 or localhost.")
@click.option("--port", type=click.IntRange(0, 65535), default=PORT, show_default=True, help="0 picks a free one.")
@click.option(
    "--visitors", type=click.IntRange(1, 100), default=VISITORS, show_default=True, help="How many pages at a time."
)
@click.option(
    "--idle",
    type=click.IntRange(1, 24 * 60),
    default=IDLE_MINUTES,
    show_default=True,
    metavar="MINUTES",
    help="End the server when nobody has typed or clicked for so long.",
)
@on_option
@protocol_option
@by_option
@registry_options
def serve(
    cases: tuple[Path, ...],
    host: str,
    port: int,
    visitors: int,
    idle: int,
    on: datetime.date | None,
    overlay_dir: Path | None,
    by: str | None,
    where: RegistryOptions,
) -> None:
    """Show the screens in a browser of this machine; prints the address to open. Ctrl+C ends it.

    CASE is a case file, a folder of them, or the id of a child in the registry; where none is named the children of
    the registry open, the example children where there is no registry.

    Needs `pip install 'limb-pathway[web]'`. The address holds a key: who has it works with your rights on what is
    served, and reaches no other file. What a closed page had not saved is there at the next visit; when the server
    ends it is lost.
    """
    from pathway.children.served import VARIABLE as SERVED
    from pathway.children.served import as_text, served

    try:
        from tui.web.server import OwnServer, free_port, loopback
    except ImportError:
        refuse("serve", "no textual-serve", "it", "install it with `pip install 'limb-pathway[web]'`")
    loopback(host)
    if where.ask_key and (cases or where.named):
        found = "--ask-key, which does not work in a browser"
        refuse("serve", found, "--key-file", "write the key to a file")
    if cases:
        from pathway.children.resolve import locate_all

        locate_all(cases, where.at())
    elif where.named:
        with opened(where):
            pass  # what is wrong with it is said here, not in the browser
    if overlay_dir is not None:
        protocol_of(overlay_dir)
    try:
        server = OwnServer(
            _command(cases, on, overlay_dir, by, where),
            host,
            port or free_port(host),
            visitors=visitors,
            idle_seconds=60 * idle,
            around={SERVED: as_text(served(case for case in cases if case.exists()))},
        )
        note(f"Open {server.address}")
        note(f"{CAUTION}. Ctrl+C ends the server; so do {_minutes(idle)} without a key or a click.")
        server.serve()
        if server.ended_idle:
            note(f"Ended: nobody has typed or clicked for {_minutes(idle)}. Start it again to go on.")
    except OSError as error:
        found = f"port {port} of {host} in use or closed ({error.strerror})"
        refuse("serve", found, "a free one", "name another with --port, or --port 0")


def _command(
    cases: tuple[Path, ...], on: datetime.date | None, overlay_dir: Path | None, by: str | None, where: RegistryOptions
) -> str:
    """Return the command that is started for each visitor, quoted for the shell of the system."""
    options: dict[str, object] = {"--on": on, "--protocol": overlay_dir}
    options |= {"--by": by, "--registry": where.address, "--key-file": where.key_file}
    given = [word for name, value in options.items() if value is not None for word in (name, str(value))]
    what = ["open", *given, "--", *(str(case) for case in cases)] if cases else given
    words = [sys.executable, "-m", "pathway", *what]
    return subprocess.list2cmdline(words) if sys.platform == "win32" else shlex.join(words)


def _minutes(number: int) -> str:
    return "1 minute" if number == 1 else f"{number} minutes"
