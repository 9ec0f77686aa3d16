"""Made-up children whose short femur does not keep its proportion, and children whose growth was arrested.

Written apart from the model: only the tables of the population are shared with it.

python tests/growth/drifting.py [CHILDREN]
    prints how often the 90 % band held and how wide it was, for that many children each (2,000 if not said)
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import lru_cache, partial
from pathlib import Path

import numpy as np

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[2]))

from pathway.growth import Step, fit_growth, growth_curve, outlook
from pathway.protocol.load import load_protocol
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.record import Sex, Visit
from tests.growth.children import at, bones, child

DRIFTS = (0.0, 0.02, -0.02, 0.04, -0.04, 0.06, -0.06)
VISITS = (1, 2, 4, 6, 8, 10)
VISITS_AFTER = (0, 1, 2, 3)
# Braun et al. 2023: 95 % error of a femur on full-length radiographs 4.5 mm, over 1.96.
FILM_SD_MM = 2.3
FIRST_YEARS = 2.0
# Anderson, Messner, Green, J Bone Joint Surg Am 1964;46-A:1197-1202, at 18 years (girls from memory).
MATURE_MM = {"boy": {"femur": 472.3, "tibia": 372.9}, "girl": {"femur": 436.3, "tibia": 346.5}}
SIZE_SD = 0.045
# Femur and tibia of US children on CT, 1 to 14 years.
BETWEEN_BONES = 0.92


@dataclass(frozen=True)
class Seen:
    """One projection: whether its 90 % band held the true end, and how wide it was in mm."""

    held: bool
    width_mm: float


class _Long:
    """The two bones of a long leg, left alone."""

    def __init__(self, protocol: Protocol, rng: np.random.Generator) -> None:
        self.sex: Sex = "boy" if rng.random() < 0.5 else "girl"
        table = protocol.table(f"population_leg_{self.sex}s")
        loaded = [table.column(c) for c in table.columns if c.startswith(("size_", "factor_"))]
        loadings = np.array(loaded).T
        both, size = rng.standard_normal((2, loadings.shape[1])), np.exp(SIZE_SD * rng.standard_normal())
        other = BETWEEN_BONES * both[0] + np.sqrt(1 - BETWEEN_BONES**2) * both[1]
        self.ages = np.arange(0, 21.01, 0.05)
        on_curve = growth_curve(protocol, self.sex).fraction(self.ages)
        self.mm = {}
        for bone, z in (("femur", both[0]), ("tibia", other)):
            off = np.interp(self.ages, table.column("age_years"), loadings @ z)
            path = np.minimum(np.maximum.accumulate(on_curve * np.exp(-off)), 1.0)
            self.mm[bone] = size * MATURE_MM[self.sex][bone] * path

    def at(self, bone: str, age: float) -> float:
        return float(np.interp(age, self.ages, self.mm[bone]))


def drifting(seed: int, drift: float, counts: Sequence[int] = VISITS) -> list[Seen]:
    """Return the projections after so many yearly visits of a child whose short femur's share of growth is off."""
    protocol, rng = _protocol(), np.random.default_rng(seed)
    legs, proportion = _Long(protocol, rng), rng.uniform(0.6, 0.9)

    def short(age: float) -> float:
        first = legs.at("femur", FIRST_YEARS)
        return float(proportion * first + (proportion + drift) * (legs.at("femur", age) - first))

    visits = [_film(rng, age, short, legs, legs.at) for age in FIRST_YEARS + np.arange(max(counts))]
    true = legs.at("femur", 21.0) - short(21.0)
    return [_seen(protocol, legs.sex, visits[:n], (), true) for n in counts]


def arrested(seed: int, counts: Sequence[int] = VISITS_AFTER) -> list[Seen]:
    """Return the projections so many yearly visits after an arrest of both plates at the knee of the long leg.

    Efficacy: means 0.755 to 0.97 and a range of 0.05 to 1.14 in 59 patients (Song MH et al. J Pediatr Orthop
    2015;35:89-93; HSS Journal 2017), so a normal of 0.85 and 0.22, never above 1. Onset up to 0.8 years late (late in
    print, without a figure); 3.7 % done again a year later. Shares of the plates: Pritchett JW, Clin Orthop 1992.
    """
    protocol, rng = _protocol(), np.random.default_rng(seed)
    legs, proportion = _Long(protocol, rng), rng.uniform(0.8, 0.95)
    age = float(rng.uniform(9.5, 12.0) if legs.sex == "girl" else rng.uniform(11.0, 13.5))
    late = float(rng.uniform(0.0, 0.8)) + (1.0 if rng.random() < 0.037 else 0.0)
    knee = {"femur": (0.60 if legs.sex == "girl" else 0.55, 0.90), "tibia": (0.50, 0.80)}
    last = 14.0 if legs.sex == "girl" else 16.0
    held = {}
    for bone, (young, old) in knee.items():
        share = np.interp(legs.ages, (7.0, last), (young, old)) * (legs.ages >= age + late)
        efficacy = min(max(0.85 + 0.22 * rng.standard_normal(), 0.05), 1.0)
        held[bone] = np.concatenate(([0.0], np.cumsum(efficacy * share[1:] * np.diff(legs.mm[bone]))))

    def long(bone: str, when: float) -> float:
        return legs.at(bone, when) - float(np.interp(when, legs.ages, held[bone]))

    def short(when: float) -> float:
        return float(proportion * legs.at("femur", when))

    before = [*np.arange(4.0, age - 0.1, 1.0), age - 0.05]
    after = [age + 1.0 + k for k in range(max(counts))]
    visits = [_film(rng, when, short, legs, long) for when in (*before, *after)]
    steps = (Step("long", "femur", age, stops=("distal_femur",)), Step("long", "tibia", age, stops=("proximal_tibia",)))
    true = long("femur", 21.0) - short(21.0) + long("tibia", 21.0) - legs.at("tibia", 21.0)
    return [_seen(protocol, legs.sex, visits[: len(before) + n], steps, true, age + 0.1) for n in counts]


def _film(
    rng: np.random.Generator,
    age: float,
    short: Callable[[float], float],
    legs: _Long,
    long: Callable[[str, float], float],
) -> Visit:
    true = (short(age), long("femur", age), legs.at("tibia", age), long("tibia", age))
    return bones(float(age), tuple(mm + FILM_SD_MM * rng.standard_normal() for mm in true))  # type: ignore[arg-type]


def _seen(
    protocol: Protocol, sex: Sex, visits: Sequence[Visit], steps: tuple[Step, ...], true: float, on: float = 0.0
) -> Seen:
    record = child(*visits, sex=sex)
    when = max(at(on), visits[-1].date)
    fitted = fit_growth(Question(record, protocol, when), known_steps=steps)
    assert fitted is not None
    low, high = np.quantile(outlook(fitted).at_maturity(), [0.05, 0.95])
    return Seen(bool(low <= true <= high), float(high - low))


@lru_cache
def _protocol() -> Protocol:
    return load_protocol()


def main(number: int) -> None:
    """Print coverage and width for so many children each."""
    with ProcessPoolExecutor() as many:
        whole = []
        for drift in DRIFTS:
            rows = list(many.map(partial(drifting, drift=drift), range(number), chunksize=20))
            held = np.array([[one.held for one in row] for row in rows])
            whole.append(held)
            _say(
                f"drift {drift:+.2f}, visits {VISITS}", held, np.array([[one.width_mm for one in row] for row in rows])
            )
        _say("all drifts", np.concatenate(whole), None)
        rows = list(many.map(arrested, range(number), chunksize=20))
        held, wide = (np.array([[getattr(one, key) for one in row] for row in rows]) for key in ("held", "width_mm"))
        _say(f"arrested, visits after {VISITS_AFTER}", held, wide)


def _say(what: str, held: np.ndarray, wide: np.ndarray | None) -> None:
    error = np.sqrt(held.mean(axis=0) * (1 - held.mean(axis=0)) / len(held))
    cells = [f"{100 * part:.1f} ± {100 * sd:.1f}" for part, sd in zip(held.mean(axis=0), error, strict=True)]
    print(
        f"{what}: held {', '.join(cells)} of 100" + ("" if wide is None else f"; mm wide {wide.mean(axis=0).round(1)}")
    )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 2000)
