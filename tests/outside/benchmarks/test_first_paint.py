"""How long a child's timeline takes from the command to the screen, in a pseudo-terminal read by pyte.

Run with `pytest -n 0 tests/outside/benchmarks --benchmark-enable`; nothing asserts a time.
"""

from __future__ import annotations

import fcntl
import os
import pty
import select
import signal
import struct
import sys
import termios
import time

import pyte
import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from pathway.views.words.caution import CAUTION

SIZES = {"80x24": (80, 24), "120x40": (120, 40), "200x50": (200, 50)}
COMMAND = [sys.executable, "-m", "pathway", "demo"]
GIVE_UP_SECONDS = 30


class Start:
    """The program started in a pseudo-terminal; `seconds_until` reads on until the screen shows every text."""

    def __init__(self, columns: int, lines: int) -> None:
        self.begun = time.perf_counter()
        self.pid, self.end = pty.fork()
        if self.pid == 0:
            os.environ.update(TERM="xterm-256color", COLORTERM="truecolor", LC_ALL="C.UTF-8")
            os.environ.pop("NO_COLOR", None)
            os.execv(COMMAND[0], COMMAND)
        fcntl.ioctl(self.end, termios.TIOCSWINSZ, struct.pack("HHHH", lines, columns, 0, 0))
        self.screen = pyte.Screen(columns, lines)
        self.stream = pyte.ByteStream(self.screen)

    def seconds_until(self, *texts: str) -> float:
        while time.perf_counter() - self.begun < GIVE_UP_SECONDS:
            ready, _, _ = select.select([self.end], [], [], 0.2)
            if ready:
                self.stream.feed(os.read(self.end, 1 << 16))
            shown = "\n".join(self.screen.display)
            if all(text in shown for text in texts):
                return time.perf_counter() - self.begun
        pytest.fail("not shown:\n" + "\n".join(self.screen.display))

    def close(self) -> None:
        os.kill(self.pid, signal.SIGKILL)
        os.waitpid(self.pid, 0)
        os.close(self.end)


@pytest.mark.parametrize("size", SIZES)
def test_the_timeline_of_a_child_from_the_command(size: str, benchmark: BenchmarkFixture) -> None:
    painted, planned = [], []

    def start() -> None:
        program = Start(*SIZES[size])
        try:
            painted.append(program.seconds_until("rowan-02", CAUTION))
            planned.append(program.seconds_until("Age, years", CAUTION))
        finally:
            program.close()

    benchmark.pedantic(start, rounds=5, iterations=1, warmup_rounds=1)
    benchmark.extra_info["first paint median s"] = round(sorted(painted)[len(painted) // 2], 2)
    benchmark.extra_info["with the plan median s"] = round(sorted(planned)[len(planned) // 2], 2)
