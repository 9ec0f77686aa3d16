"""Write rules/growth/maturing_of_references.toml: when children of several references near their adult size.

python .ci/growth/maturing.py STATURE_MEDIAN_BY_AGE.csv LEG_LENGTH_MEDIAN_BY_AGE.csv SERIAL_HEIGHT_LEG_LENGTH.csv

Only references that may be shipped; of each only the ages at which its medians reach a fraction of their last one.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from fit import AGES, HALF_YEARS, ROOT, SEXES, Kid, Reference, children, medians, rows_of

FILE = ROOT / "rules" / "growth" / "maturing_of_references.toml"
PARTS = (0.90, 0.95, 0.98)
SOURCES = {
    ("stature", "CDC2000"): ("US 2000", "US CDC 2000 growth reference (medians)"),
    ("stature", "WHO2006_2007"): ("WHO 2006/2007", "WHO growth standards 2006 and reference 2007 (medians)"),
    ("stature", "NL1997"): ("Netherlands 1997", "Fredriks AM et al., Pediatr Res 2000 (medians)"),
    ("stature", "Flanders2004"): ("Flanders 2004", "Roelants 2009 (medians of the Flemish reference of 2004)"),
    ("stature", "Germany_KiGGS"): ("Germany 2003-2006", "KiGGS 2003-2006, Robert Koch Institute (medians)"),
    ("stature", "Tunisia2021"): ("Tunisia 2021", "Ghouili et al. Arch Pediatr 2021;28:381 (medians)"),
    ("leg", "NL_Fredriks2005"): ("Netherlands 1997", "Fredriks AM et al., Arch Dis Child 2005;90:807-812 (medians)"),
    ("leg", "TN_Ghouili2021"): ("Tunisia 2021", "Ghouili et al. Arch Pediatr 2021;28:381 (medians)"),
}
PACKAGES = {
    "CDC2000": "PyPI rcpchgrowth 4.6.5",
    "WHO2006_2007": "PyPI rcpchgrowth 4.6.5",
}
COLUMNS = {"stature": "median_stature_cm", "leg": "leg_length_cm"}
CHILDREN = "California, born 1928-29"
TUDDENHAM = (
    "Tuddenham RD, Snyder MM. Physical growth of California boys and girls from birth to eighteen years. "
    "Univ Calif Publ Child Dev 1954;1:183-364"
)


def reached(ages: np.ndarray, size: np.ndarray, last: float) -> np.ndarray:
    """Return the ages at which sizes first come to each fraction of the last, straight between ages."""
    share = np.maximum.accumulate(size / last)
    at = [int(np.argmax(share >= part)) for part in PARTS]
    pairs = zip(PARTS, at, strict=True)
    return np.array([np.interp(part, share[k - 1 : k + 1], ages[k - 1 : k + 1]) for part, k in pairs])


def of_children(kids: list[Kid], measure: str) -> np.ndarray:
    """Return the same of the mean course: mean size at an age over the mean adult size of those measured then."""
    ages, share = [], []
    for age in HALF_YEARS:
        both = [(k.height if measure == "stature" else k.leg, k.adult[measure]) for k in kids]
        seen = np.array([(sizes[age], adult) for sizes, adult in both if age in sizes])
        if len(seen) > len(kids) / 2:
            ages.append(age)
            share.append(float(np.divide(*seen.mean(axis=0))))
    return reached(np.array(ages), np.array(share), 1.0)


def jackknife(kids: list[Kid], measure: str) -> np.ndarray:
    """Return the standard errors of `of_children`, between children."""
    without = np.array([of_children(kids[:k] + kids[k + 1 :], measure) for k in range(len(kids))])
    result: np.ndarray = np.sqrt((len(kids) - 1) * without.var(axis=0))
    return result


def table(stature: str, leg: str, serial: str) -> Iterable[tuple[str, ...]]:
    """Yield the rows of the table, each cell as it is written."""
    files = {"stature": rows_of(stature), "leg": rows_of(leg)}
    kids = children(serial, Reference(medians(stature)))
    for measure in AGES:
        for sex in SEXES:
            for (of, reference), (name, source) in SOURCES.items():
                if of != measure:
                    continue
                rows = [r for r in files[measure] if r["reference"] == reference and r["sex"] == sex]
                ages, size = (np.array([float(r[c]) for r in rows]) for c in ("age_years", COLUMNS[measure]))
                at = reached(ages, size, size[-1])
                package = PACKAGES.get(reference, "R package childsds 0.9.11")
                yield _row(measure, sex, name, at, None, f"{ages[-1]:g}", source, f"medians as shipped with {package}")
            mine = [kid for kid in kids if kid.sex == sex]
            at, se = of_children(mine, measure), jackknife(mine, measure)
            yield _row(measure, sex, CHILDREN, at, se, "18-21", TUDDENHAM, f"mean course of {len(mine)} {sex}s")


def _row(
    measure: str, sex: str, name: str, at: np.ndarray, se: np.ndarray | None, adult: str, source: str, how: str
) -> tuple[str, ...]:
    errors = ['""'] * 3 if se is None else [f"{value:.2f}" for value in se]
    numbers = (cell for pair in zip((f"{age:.2f}" for age in at), errors, strict=True) for cell in pair)
    return (f'"{measure}"', f'"{sex}s"', f'"{name}"', *numbers, *(f'"{text}"' for text in (adult, source, how)))


def main(arguments: list[str]) -> None:
    """Write the table."""
    columns = [f'"age_{part:.0%}{end}"'.replace("%", "") for part in PARTS for end in ("_years", "_se_years")]
    head = ['"measure"', '"sex"', '"reference"', *columns, '"adult_age_years"', '"source"', '"provenance"']
    rows = "".join(f"  [{', '.join(row)}],\n" for row in table(*arguments))
    FILE.write_text(
        'name = "Ages at which children of several references reach 90, 95 and 98 % of adult size"\nunit = "years"\n'
        'sex = "per row"\nsource = "per row"\nprovenance = "computed by .ci/growth/maturing.py; how: per row"\n'
        'note = "Fraction of the last tabulated value, straight between ages; for the children born in 1928-29 the '
        "mean at an age over the mean adult size, with standard errors between children. Leg: stature minus sitting "
        "height. A course of medians or means is flatter than that of one child. References that end at 18 years "
        "put boys' ages somewhat early, for the last growth is missing. Of stature, the references of 1997 to 2021 lie "
        "on both sides of the children born in 1928-29: no earlier maturing since is seen in them. Of leg length, "
        "those children were ahead of the Dutch of 1997. The Tunisian medians of leg length run unevenly (girls 90 % "
        'at 10 years, boys 98 % at 17). Nothing is worked out from this table: it says how far curves differ."\n'
        f"columns = [{', '.join(head)}]\nrows = [\n{rows}]\n",
        encoding="utf-8",
    )


if __name__ == "__main__":
    main(sys.argv[1:])
