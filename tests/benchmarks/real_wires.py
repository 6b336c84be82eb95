"""How often is a result wrong, and nobody says so? Specimens that do what real wires do, at two count levels.

``python -m tests.benchmarks.real_wires [--specimens 750] [--out real_wires.jsonl] [--write]`` prints the tables of
docs/contributing/coverage.md, or writes them there; the file keeps what is done, and a broken run goes on from there.

Everything with a stated uncertainty is drawn, as in `tests.benchmarks.coverage`: temperature and zero of the goniometer
for each scan; calibration, certificate, f' of tin and displacement parameters of niobium and bronze for each specimen.
A quantity is wrong beyond `WRONG` of its standard uncertainties. Four is the least whole number that leaves a perfect
method room: of four quantities with normal errors one at least is beyond three of them in 11 scans of 1000, beyond four
in 0.25. Quietly wrong is a scan with a wrong quantity and no flag beyond those of good patterns.
"""

import argparse
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from scipy.stats import beta, norm

from tests.benchmarks import evidence_page, mishaps
from tests.benchmarks.corrupted import LENGTH_MM, NIOBIUM_NM, ORDINARY
from tests.benchmarks.record import Row, run
from tests.benchmarks.record import rows as done
from tests.generator import (
    FewGrains,
    Fibre,
    LatticeDistribution,
    PhaseTruth,
    SampleTruth,
    attenuation_per_mm,
    expected_counts,
    random_instrument,
    simulate_standard,
)
from tests.recovery.campaign import COARSE, PACKING, Case, Drawn, calibrated, case, evaluated
from xrdorder.exceptions import XrdorderError
from xrdorder.profiles import Instrument

LEVELS = (25_000.0, 2_500.0)
STANDARD_COUNTS = 25_000.0
SPECIMENS, REPEATS = 750, 4
WRONG = 4.0
QUANTITIES = ("a_nm", "site_order", "domain_size_nm", "weight_fraction_nb")
RADIATIONS: dict[str, np.ndarray] = {
    "cu-ka": np.array(COARSE),
    "mo-ka": np.round(np.arange(9.5, 55.0, 0.02), 2),
}
SLITS_DEG = {"cu-ka": 0.5, "mo-ka": 0.125}
INSTRUMENTS = 12
"""Diffractometers of each radiation."""

HEADER = (
    "| kind | scans | refused | within 1 u, % | within 2 u, % | beyond 3 u, ‰ | wrong (a, order, size, niobium) "
    "| quietly wrong | flagged, % |",
    "|---|---|---|---|---|---|---|---|---|",
)
OF_THE_CATALOGUE = ("scattering", "b_niobium", "b_bronze")
OF_WIDTHS = frozenset({"domain-size-not-resolved", "microstrain-not-resolved", "domains-alike"})
"""Flags that good patterns carry and that speak of sizes: a wrong size beside them is not a quiet one."""

Rng = np.random.Generator


def plain(rng: Rng, sample: SampleTruth) -> SampleTruth:
    return sample


def lognormal_sizes(rng: Rng, sample: SampleTruth) -> SampleTruth:
    return mishaps.lognormal_sizes(rng, sample, INSTRUMENT_UNUSED).sample


def tail(rng: Rng, sample: SampleTruth) -> SampleTruth:
    """Tin falls toward the core of a filament: a tail of lattice parameters, or everything between two edges."""
    if rng.integers(2):
        return mishaps.graded_layer(rng, sample, INSTRUMENT_UNUSED).sample
    width, slope = float(rng.uniform(1e-4, 6e-4)), float(rng.uniform(0.0, 1.0))
    a = sample.lattice_nm
    return replace(sample, a_nm=None, lattice=LatticeDistribution.graded(a - width, a + width, slope))


def few_grains(rng: Rng, sample: SampleTruth) -> SampleTruth:
    """From a coarse powder to one that is nearly fine enough."""
    number, height = round(float(np.exp(rng.uniform(np.log(20.0), np.log(2000.0))))), float(rng.uniform(0.005, 0.05))
    return replace(sample, grains=FewGrains(number, height, int(rng.integers(2**31))))


def no_niobium(rng: Rng, sample: SampleTruth) -> SampleTruth:
    return replace(sample, others=tuple(one for one in sample.others if one.name != "nb"))


def drawn_niobium(rng: Rng, sample: SampleTruth) -> SampleTruth:
    """What is left of the filaments is as the drawing made it: strained, fine, textured along (110)."""

    def drawn(one: PhaseTruth) -> PhaseTruth:
        return replace(
            one,
            microstrain_lorentz=float(rng.uniform(5e-4, 3e-3)),
            domain_size_nm=float(rng.uniform(20.0, 60.0)),
            fibre=Fibre((1, 1, 0), float(rng.uniform(0.7, 0.95))),
        )

    return replace(sample, others=tuple(drawn(one) if one.name == "nb" else one for one in sample.others))


def all_of_it(rng: Rng, sample: SampleTruth) -> SampleTruth:
    """A lognormal law, a tail, some hundreds of grains, and niobium absent or as drawn."""
    sample = tail(rng, lognormal_sizes(rng, sample))
    sample = (drawn_niobium if rng.integers(2) else no_niobium)(rng, sample)
    return replace(sample, grains=FewGrains(int(rng.integers(200, 2000)), 0.01, int(rng.integers(2**31))))


INSTRUMENT_UNUSED = random_instrument(np.random.default_rng(0))
KINDS: dict[str, Callable[[Rng, SampleTruth], SampleTruth]] = {
    f.__name__.replace("_", " "): f
    for f in (plain, lognormal_sizes, tail, few_grains, no_niobium, drawn_niobium, all_of_it)
}


@dataclass(frozen=True)
class Wire:
    """A specimen and what it is measured with."""

    kind: str
    one: Case

    @property
    def truth(self) -> Mapping[str, float]:
        """What should be found."""
        return self.one.truth | {"domain_size_nm": self.one.sample.volume_weighted_nm}


def wire(number: int) -> Wire:
    """A specimen by its number: kinds take turns, radiations within them."""
    kinds, radiations = list(KINDS), list(RADIATIONS)
    kind, turn = kinds[number % len(kinds)], number // len(kinds)
    rng = np.random.default_rng(700_000 + number)
    radiation = radiations[turn % len(radiations)]
    own = np.random.default_rng(800_000 + turn % (INSTRUMENTS * len(radiations)))
    instrument = replace(random_instrument(own, radiation), divergence_deg=SLITS_DEG[radiation], flat_specimen=True)
    one = case(900_000 + number, aberrations=True, strained=bool(rng.integers(2)))
    others = tuple(replace(x, a_nm=NIOBIUM_NM) if x.name == "nb" else x for x in one.sample.others)
    sample = replace(one.sample, others=others, specimen_length_mm=LENGTH_MM, order_a=float(rng.uniform(0.85, 1.0)))
    a15, energy = sample.a15_cell(sample.lattice_nm), instrument.emission()[0][0]
    sample = replace(sample, attenuation_per_mm=PACKING * attenuation_per_mm(a15, energy))
    return Wire(kind, replace(one, sample=KINDS[kind](rng, sample), instrument=instrument))


@lru_cache(maxsize=INSTRUMENTS * len(RADIATIONS))
def _standard(instrument: Any, displacement_mm: float, length_mm: float) -> np.ndarray:
    grid = RADIATIONS[instrument.radiation]
    lab6 = PACKING * attenuation_per_mm(PhaseTruth("lab6", 1.0, 0.4156826).cell(), instrument.emission()[0][0])
    return simulate_standard(
        instrument, displacement_mm=displacement_mm, attenuation_per_mm=lab6, specimen_length_mm=length_mm,
        two_theta=grid, peak_counts=STANDARD_COUNTS,
    )[1]  # fmt: skip


def _calibrated(one: Case, seed: int) -> Instrument:
    means = _standard(one.instrument, 0.02, 50.0)
    rng = np.random.default_rng(seed)
    counts = rng.poisson(means).astype(float)
    return calibrated(one, RADIATIONS[one.instrument.radiation], counts, float(rng.normal()))


def work(number: int, repeats: int) -> list[Row]:
    """All scans of one specimen."""
    what = wire(number)
    one, grid = what.one, RADIATIONS[what.one.instrument.radiation]
    about = {"number": number, "kind": what.kind, "radiation": one.instrument.radiation}
    try:
        instrument = _calibrated(one, 1_000_003 + number)
    except XrdorderError as error:
        about["refused"] = str(error)
        return [about | {"level": level, "repeat": r} for level in LEVELS for r in range(repeats)]
    means = expected_counts(one.sample, one.instrument, grid, peak_counts=1.0)
    catalogue = dict(zip(OF_THE_CATALOGUE, np.random.default_rng([number]).normal(size=3).tolist(), strict=True))
    found = []
    for place, level in enumerate(LEVELS):
        for repeat in range(repeats):
            rng = np.random.default_rng([number, place, repeat])
            counts = rng.poisson(level * means).astype(float)
            off = Drawn(temperature=float(rng.normal()), offset=float(rng.normal()), **catalogue)
            found.append(about | {"level": level, "repeat": repeat} | _said(what, instrument, grid, counts, off))
    return found


def _said(what: Wire, instrument: Instrument, grid: np.ndarray, counts: np.ndarray, off: Drawn) -> Row:
    """Errors, uncertainties, flags and verdict of one scan; errors of a size are those of one over it."""
    try:
        result = evaluated(what.one, instrument, grid, counts, off)
    except XrdorderError as error:
        return {"refused": str(error)}
    material, row = result.material, {}
    for quantity, true in what.truth.items():
        value = material.values.get(quantity, np.nan)
        if quantity not in QUANTITIES or not np.isfinite(value):
            continue
        u = material.u(quantity)
        row[quantity] = [1.0 / value - 1.0 / true, u / value**2] if quantity == "domain_size_nm" else [value - true, u]
    flags = sorted({flag.name for flag in (*result.fit.flags, *material.flags)})
    return row | {"flags": flags, "words": result.fit.quality_words}


def pulls(row: Row) -> dict[str, float]:
    """Errors in standard uncertainties; endless where none is admitted."""
    return {q: row[q][0] / row[q][1] if row[q][1] > 0.0 else np.inf for q in QUANTITIES if q in row}


def wrong(row: Row) -> list[str]:
    """Quantities that are off by more than they admit."""
    return [q for q, pull in pulls(row).items() if abs(pull) > WRONG]


def quiet(row: Row) -> list[str]:
    """Wrong ones of a scan of which nothing is said."""
    flags = set(row.get("flags", ()))
    if flags - ORDINARY:
        return []
    return [q for q in wrong(row) if not (q == "domain_size_nm" and flags & OF_WIDTHS)]


def upper_limit(events: int, number: int) -> float:
    """One-sided 95 % limit of a share, Clopper and Pearson."""
    return float(beta.ppf(0.95, events + 1, number - events)) if events < number else 1.0


def _line(name: str, rows: Sequence[Row]) -> str:
    every = [pull for row in rows for pull in pulls(row).values()]
    by = Counter(q for row in rows for q in wrong(row))
    silent = [row for row in rows if quiet(row)]
    cells = [
        len(rows),
        sum("refused" in row for row in rows),
        *(f"{100.0 * np.mean(np.abs(every) <= k):.1f}" for k in (1.0, 2.0)),
        f"{1e3 * np.mean(np.abs(every) > 3.0):.1f}",
        f"{sum(bool(wrong(row)) for row in rows)} ({', '.join(str(by[q]) for q in QUANTITIES)})",
        len(silent),
        f"{100.0 * np.mean([bool(set(row.get('flags', ())) - ORDINARY) for row in rows]):.0f}",
    ]
    return f"| {name} | {' | '.join(map(str, cells))} |"


def tables(rows: Sequence[Row]) -> list[str]:
    """Markdown of a campaign: a table for each count level."""
    lines: list[str] = []
    normal = " | ".join(f"{100.0 * (1.0 - 2.0 * norm.sf(k)):.1f}" for k in (1.0, 2.0))
    for level in LEVELS:
        mine = [row for row in rows if row["level"] == level]
        silent = sum(bool(quiet(row)) for row in mine)
        lines += [
            f"Highest point {level:.0f} counts: {silent} of {len(mine)} scans of "
            f"{len({row['number'] for row in mine})} specimens quietly wrong, below "
            f"{1e3 * upper_limit(silent, len(mine)):.1f} in 1000 (95 %).",
            "",
            *HEADER,
            *(_line(kind, [row for row in mine if row["kind"] == kind]) for kind in KINDS),
            *(_line(name, [row for row in mine if row["radiation"] == name]) for name in RADIATIONS),
            _line("**all**", mine),
            f"| normal errors | | | {normal} | {2e3 * norm.sf(3.0):.1f} | | | |",
            "",
        ]
    return lines


def wrong_ones(rows: Sequence[Row]) -> list[str]:
    """Each wrong result, to be looked at."""
    return [
        f"{'quiet' if quiet(row) else 'told '} {row['number']}/{row['repeat']} {row['kind']} {row['radiation']} "
        f"{row['level']:.0f}: {', '.join(f'{q} {pulls(row)[q]:+.1f} u' for q in wrong(row))}; {' '.join(row['flags'])}"
        for row in rows
        if wrong(row)
    ]


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--specimens", type=int, default=SPECIMENS)
    parser.add_argument("--repeats", type=int, default=REPEATS, help="scans of each at either level")
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--out", type=Path, default=Path("real_wires.jsonl"))
    parser.add_argument("--done", action="store_true", help="only what the file holds")
    parser.add_argument("--write", action="store_true", help="into docs/contributing/coverage.md")
    parser.add_argument("--of", default="", help="commit that the campaign ran on, where it is not the present one")
    told: Any = parser.parse_args(arguments)
    if told.done:
        rows = [row for _, some in done(told.out) for row in some]
    else:
        rows = run(work, [(number, told.repeats) for number in range(told.specimens)], told.workers, told.out)
    lines = tables(rows)
    if told.write:
        evidence_page.write("real wires", lines, told.of or evidence_page.commit(), evidence_page.COVERAGE)
    print("\n".join([*lines, *wrong_ones(rows)]))


if __name__ == "__main__":
    main()
