"""Write the JSON Schemas of what the verbs print: `python .ci/schemas.py`; with `--check` nothing is written."""

from __future__ import annotations

import sys
from pathlib import Path

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))

from pathway.views.data.shapes import SHAPES, schema_text  # noqa: E402

FOLDER = ROOT / "pathway" / "views" / "data" / "schema"


def main() -> None:
    """Write the schemas, or compare them with those that are kept."""
    stale = []
    for verb in SHAPES:
        file, text = FOLDER / f"{verb}.json", schema_text(verb)
        if "--check" not in sys.argv:
            file.write_text(text, encoding="utf-8")
        elif not file.exists() or file.read_text("utf-8") != text:
            stale.append(str(file.relative_to(ROOT)))
    if stale:
        sys.exit(f"no longer what is printed: {', '.join(stale)}; run python .ci/schemas.py")


if __name__ == "__main__":
    main()
