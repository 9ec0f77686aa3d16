"""How often the model is right: what it foretells from the visits up to an age, against what came.

python tests/outside/published/calibration.py DATA.csv [--json | --toml] [--children odd|even|all] [--folds N]

DATA.csv has the columns child, sex, age_years, height_cm and stem_length_cm (sitting height; may be empty);
lines that begin with # are comments. The true end is the last value measured at 18 years or later. The population
tables come from one study: its own children are tried with `--folds 7`, where each is foretold with tables made
anew without the seventh of the children that it is in; children from elsewhere need no folds.

Every prediction goes the product's road. Each child becomes a record with invented legs: the longer one is stature
less sitting height, divided into femur and tibia as in the 1964 lengths at maturity, the shorter one a fixed part of
it. `fit_growth` and `outlook` give the legs at maturity and adult height; where no leg was measured yet, `fit_growth`
has nothing to go by and adult height comes from `adult_height`, which `fit_growth` itself calls. Bands are quantiles
of the draws, the centre is their median.

A leg measured on the body strays more than bones on a film: by `population_wander_sd` of its length. It is one
reading, so both invented legs carry the same error: their method has next to no error of its own, and both stray
together by `bone_wander_sd`, raised so that femur and tibia, which the model lets stray apart, make up that of the
whole leg.
"""

from __future__ import annotations

import argparse
import csv
import datetime
import importlib.util
import json
import sys
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np

ROOT = Path(__file__).parents[3]
sys.path.insert(0, str(ROOT))

from pathway.days import day_at_age  # noqa: E402
from pathway.growth import Posterior, fit_growth, growth_curve, outlook, stature_curve  # noqa: E402
from pathway.growth.adult_height import adult_height  # noqa: E402
from pathway.growth.reference_curves import Floats, GrowthCurve, plural  # noqa: E402
from pathway.growth.surgery import BONES  # noqa: E402
from pathway.protocol.load import load_protocol  # noqa: E402
from pathway.protocol.model import Bone, Method, Protocol  # noqa: E402
from pathway.protocol.question import Question  # noqa: E402
from pathway.record import Child, Measurement, Record, Sex, Side, Visit  # noqa: E402
from tests.outside.published.calibration_figures import AGES, Trial, What, lines, summed_up, toml  # noqa: E402

LATEST_VISIT_WITHIN_YEARS = 0.3
ADULT_FROM_YEARS = 18.0
BORN = datetime.date(2001, 1, 1)
SHORT_OVER_LONG = 0.85
SHORT: Side = "left"
LONG: Side = "right"
BODY = "body_measure"
LEAST_SD_MM = 0.1
QUANTILES = (0.05, 0.25, 0.5, 0.75, 0.95)
Sizes = dict[float, float]
"""Size in mm by age in years."""


@dataclass(frozen=True, slots=True)
class Kid:
    """One child of the data: statures and leg lengths."""

    id: str
    sex: Sex
    height: Sizes
    leg: Sizes

    @property
    def number(self) -> int:
        """Return the number in the child's id."""
        return int("".join(filter(str.isdigit, self.id)))


def children(path: Path, which: str = "all") -> list[Kid]:
    """Return the odd- or even-numbered children, or all."""
    found: dict[str, Kid] = {}
    text = [line for line in path.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    for row in csv.DictReader(text):
        sex: Sex = "girl" if row["sex"].strip().lower() in ("girl", "female", "f", "girls") else "boy"
        kid = found.setdefault(row["child"], Kid(row["child"], sex, {}, {}))
        age = float(row["age_years"])
        if row["height_cm"].strip():
            kid.height[age] = 10 * float(row["height_cm"])
            if row["stem_length_cm"].strip():
                kid.leg[age] = 10 * (float(row["height_cm"]) - float(row["stem_length_cm"]))
    return [kid for kid in found.values() if which == "all" or kid.number % 2 == (which == "odd")]


@cache
def parts(sex: Sex) -> Mapping[Bone, float]:
    """Return what femur and tibia make up of the leg at maturity, from the 1964 lengths; together 1."""
    protocol = load_protocol()
    ends = {bone: protocol.table(f"amg_1964_{bone}_{plural(sex)}").column("mean")[-1] for bone in BONES}
    return {bone: mm / sum(ends.values()) for bone, mm in ends.items()}


def measured_on_the_body(protocol: Protocol, sex: Sex) -> Protocol:
    """Return the protocol with a method for legs measured on the body, and with what one reading strays."""
    stray = protocol.number("population_wander_sd") / float(np.hypot(*parts(sex).values()))
    values = tuple(v.model_copy(update={"value": stray}) if v.id == "bone_wander_sd" else v for v in protocol.values)
    method = Method(
        id=BODY,
        label="stature less sitting height",
        length_sd_mm=LEAST_SD_MM,
        provenance="judgement",
        sources=("own_judgement",),
    )
    fields = {name: getattr(protocol, name) for name in Protocol.model_fields}
    return Protocol.model_construct(**{**fields, "values": values, "methods": (*protocol.methods, method)})


def record(kid: Kid, until: float) -> Record:
    """Return what was known of a child at an age, with invented legs made from the measured one."""
    visits = []
    for age in sorted(age for age in {*kid.height, *kid.leg} if age <= until):
        found = []
        if age in kid.height:
            found.append(Measurement(finding="standing_height_mm", side=None, value=kid.height[age], method=BODY))
        if age in kid.leg:
            for bone, part in parts(kid.sex).items():
                for side, share in ((LONG, 1.0), (SHORT, SHORT_OVER_LONG)):
                    mm = share * part * kid.leg[age]
                    found.append(Measurement(finding=f"{bone}_length_mm", side=side, value=mm, method=BODY))
        visits.append(Visit(date=day_at_age(BORN, age), method=BODY, measurements=tuple(found)))
    who = Child(
        id=f"invented_{kid.number}",
        date_of_birth=BORN,
        sex=kid.sex,
        affected_side=SHORT,
        diagnosis="congenital_femoral_deficiency",
    )
    return Record(child=who, visits=tuple(visits))


def trials(kids: Iterable[Kid], protocol: Protocol) -> list[Trial]:
    """Return every prediction that the data allow, with the tables of this protocol."""
    rules: Mapping[Sex, Protocol] = {sex: measured_on_the_body(protocol, sex) for sex in ("boy", "girl")}
    return [trial for kid in kids for age in AGES for trial in _at(kid, age, rules[kid.sex])]


def _at(kid: Kid, age: int, protocol: Protocol) -> Iterable[Trial]:
    tall, long = (_last(sizes, age) for sizes in (kid.height, kid.leg))
    if tall is None and long is None:
        return
    question = Question(record(kid, age), protocol, day_at_age(BORN, age))
    posterior = fit_growth(question)
    bands = _height(question, posterior)
    if tall is not None and bands is not None:
        yield _trial("height", kid, age, tall, stature_curve(protocol, kid.sex), bands)
    if long is not None and posterior is not None:
        curve, ends = growth_curve(protocol, kid.sex, "table"), outlook(posterior)
        yield _trial("leg_length", kid, age, long, curve, np.quantile(ends.at_maturity("long_leg"), QUANTILES))
        apart = _Last(long.age_years, *((1 - SHORT_OVER_LONG) * mm for mm in (long.mm, long.end_mm)))
        yield _trial("discrepancy", kid, age, apart, curve, np.quantile(ends.at_maturity(), QUANTILES))


@dataclass(frozen=True, slots=True)
class _Last:
    """The last size seen up to an age, and what it came to in the end."""

    age_years: float
    mm: float
    end_mm: float


def _last(sizes: Sizes, until: float) -> _Last | None:
    """Return the last size where it is recent enough and the end is known."""
    seen, grown = [age for age in sizes if age <= until], [age for age in sizes if age >= ADULT_FROM_YEARS]
    if not seen or not grown or max(seen) < until - LATEST_VISIT_WITHIN_YEARS:
        return None
    return _Last(max(seen), sizes[max(seen)], sizes[max(grown)])


def _height(question: Question, posterior: Posterior | None) -> Floats | None:
    if posterior is not None:
        draws = posterior.adult_height_mm
        return None if draws is None else np.quantile(draws, QUANTILES)
    alone = adult_height(question)
    return None if alone is None else np.array([alone.size.quantile_mm(q) for q in QUANTILES])


def _trial(what: What, kid: Kid, age: int, last: _Last, curve: GrowthCurve, bands: Floats) -> Trial:
    low, lower, centre, upper, high = (float(mm) for mm in bands)
    single = last.mm * float(curve.multiplier(last.age_years))
    end = last.end_mm
    inside = lower <= end <= upper, low <= end <= high
    return Trial(what, kid.id, kid.sex, age, end, centre - end, single - end, *inside)


@cache
def fit() -> ModuleType:
    """Return the script that makes the population tables."""
    spec = importlib.util.spec_from_file_location("growth_fit", ROOT / ".ci" / "growth" / "fit.py")
    if spec is None or spec.loader is None:
        raise ImportError("no script .ci/growth/fit.py to make the population tables anew")
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def without(path: Path, left_out: Collection[int]) -> Protocol:
    """Return the protocol with population tables made anew, as shipped but without some children."""
    protocol, make = load_protocol(), fit()
    stature = {}
    for sex in make.SEXES:
        table = protocol.table(f"stature_fraction_{plural(sex)}")
        stature[sex] = np.array(table.column("age_years")), np.array(table.column("fraction"))
    reference = make.Reference(stature)
    tables = make.population_tables(make.children(str(path), reference, left_out), reference)
    changed: Protocol = make.with_tables(protocol, tables)
    return changed


def fold(path: Path, k: int, of: int, which: str = "all") -> list[Trial]:
    """Return the predictions of the children of one fold, with tables that have not seen them."""
    left_out = fit().fold([kid.number for kid in children(path)], k, of)
    return trials([kid for kid in children(path, which) if kid.number in left_out], without(path, left_out))


def calibration(path: Path, which: str = "all", folds: int = 0) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """Return all figures, and those of each fold; without folds those of the shipped tables."""
    if not folds:
        return summed_up(trials(children(path, which), load_protocol())), []
    by_fold = [fold(path, k, folds, which) for k in range(folds)]
    return summed_up([trial for found in by_fold for trial in found]), [summed_up(found) for found in by_fold]


def main(arguments: Sequence[str] | None = None) -> None:
    """Read the arguments and print the figures."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("data", type=Path)
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--toml", action="store_true")
    parser.add_argument("--children", choices=("odd", "even", "all"), default="all")
    parser.add_argument("--folds", type=int, default=0, metavar="N", help="make the tables anew N times, each without")
    given = parser.parse_args(arguments)
    if not given.data.is_file():
        parser.error(f"no file {given.data}")
    found, by_fold = calibration(given.data, given.children, given.folds)
    if given.json:
        print(json.dumps(found, indent=2))
    elif given.toml:
        print(f"# Written by tests/outside/published/calibration.py DATA.csv --toml --folds {given.folds}.")
        print("\n".join(toml(found, by_fold)))
    else:
        print("\n".join(lines(found)))


if __name__ == "__main__":
    main()
