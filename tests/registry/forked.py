"""A process of a test, forked: when it fails, its traceback is printed and its exit code says so."""

from __future__ import annotations

import os
import sys
import traceback
from collections.abc import Callable


def forked(work: Callable[[], None]) -> int:
    """Return the id of a child process that does `work` and ends; a failure goes to standard error."""
    child = os.fork()
    if child:
        return child
    code = 1
    try:
        work()
        code = 0
    except BaseException:
        traceback.print_exc()
        sys.stderr.flush()
    finally:
        os._exit(code)
