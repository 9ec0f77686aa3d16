"""A plan waits for no library that it does not use."""

from __future__ import annotations

import subprocess
import sys


def test_making_and_printing_a_plan_loads_no_graph_library() -> None:
    code = (
        "import sys, pathway.plan.make, pathway.casefile, pathway.views.words.plan, pathway.questions.why; "
        "import pathway.protocol.load; "
        "never = ('networkx', 'scipy', 'textual', 'tomlkit', 'icalendar', 'fhir'); "
        "print([name for name in never if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
