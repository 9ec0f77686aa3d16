"""Write the JSON Schemas of what the verbs print and of the case file; with `--check` nothing is written."""

from __future__ import annotations

import sys
from pathlib import Path

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))

from pathway.casefile.schema import case_schema  # noqa: E402
from pathway.protocol.load import load_protocol  # noqa: E402
from pathway.views.data.shapes import CASE_FILE, SHAPES, schema_json, schema_text  # noqa: E402

FOLDER = ROOT / "pathway" / "views" / "data" / "schema"


def main() -> None:
    """Write the schemas, or compare them with those that are kept."""
    stale = []
    texts = {verb: schema_text(verb) for verb in SHAPES}
    texts[CASE_FILE] = schema_json(case_schema(load_protocol()))
    for name, text in texts.items():
        file = FOLDER / f"{name}.json"
        if "--check" not in sys.argv:
            file.write_text(text, encoding="utf-8")
        elif not file.exists() or file.read_text("utf-8") != text:
            stale.append(str(file.relative_to(ROOT)))
    if stale:
        sys.exit(f"no longer what is printed: {', '.join(stale)}; run python .ci/schemas.py")


if __name__ == "__main__":
    main()
