"""Write rules/CATALOGUE.md from the rule files. With `--check` only say whether it is in step (exit 1 if not)."""

from __future__ import annotations

import sys
from pathlib import Path

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))

from pathway.protocol.load import load_protocol  # noqa: E402
from pathway.views.rules.catalogue import catalogue  # noqa: E402

FILE = ROOT / "rules" / "CATALOGUE.md"


def main() -> None:
    text = catalogue(load_protocol())
    if "--check" in sys.argv[1:]:
        if not FILE.exists() or FILE.read_text(encoding="utf-8") != text:
            sys.exit("rules/CATALOGUE.md is out of step: run python .ci/catalogue.py")
        return
    FILE.write_text(text, encoding="utf-8")
    print(f"{FILE.relative_to(ROOT)}: {len(text.splitlines())} lines")


if __name__ == "__main__":
    main()
