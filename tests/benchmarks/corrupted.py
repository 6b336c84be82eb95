"""Can the package be fooled quietly? Spoiled scans and false descriptions of every kind in `mishaps`.

``python -m tests.benchmarks.corrupted [--truths 120] [--clean 4] [--workers 2] [--kinds KIND...] [--out FILE]`` prints
the table of docs/contributing/robustness.md, with ``--write`` into it; the file keeps what is done. A result is wrong
if the lattice parameter or the site order is off by more than three of its total standard uncertainties, and quietly
wrong if nothing is flagged beside that: neither reader nor fit nor what is drawn from it says more than `ORDINARY`.
What cross-checks see counts for clean scans, so that their false alarms do, and not for spoiled ones, where it stays a
reserve. By chance: how many wrong ones counting alone would make; u is mostly what all samples of a laboratory share,
and that is right here. A domain size is wrong by the same measure and counted by itself; it is trusted where the
verdict is "trustworthy", whatever is flagged beside it.
"""

import argparse
import tempfile
import zlib
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr
from scipy.stats import norm

from tests.benchmarks import evidence_page
from tests.benchmarks.mishaps import KINDS, LENGTH_MM, SLIT_DEG, UNSEEN, Scan, clean
from tests.benchmarks.record import Job, Row, run
from tests.generator import InstrumentTruth, expected_counts, simulate_standard
from tests.made import as_pattern
from tests.recovery.campaign import COARSE, LAB6_PER_MM, PEAK_COUNTS, Case, case, u_counting
from xrdorder.exceptions import XrdorderError
from xrdorder.fitting import FitOptions, calibrate, fit_pattern
from xrdorder.material import Material, Specimen, characterise
from xrdorder.patterns import read_pattern
from xrdorder.profiles import Instrument
from xrdorder.quantities.grades import grade
from xrdorder.running.interpretation import weighed_words
from xrdorder.xrays import radiation

ORDINARY = frozenset(
    {"calibration", "domain-size-not-resolved", "microstrain-not-resolved", "strain-or-gradient", "metals-together",
     "domains-alike", "bronze-or-brass"}
)
"""Flags that good patterns carry: they speak of widths, of how the instrument was calibrated, or of what metal a minor
phase is, and throw no doubt on lattice or order."""

RESERVE = frozenset({"routes-disagree-lattice", "routes-disagree-order"})
"""Flags of cross-checks."""

NIOBIUM_NM = 0.33007  # niobium that nothing has happened to
SIGMAS = 3.0
CLEAN = "clean"
HEADER = (
    "| kind | number | refused | crashed | no A15 | wrong (a, order) | quietly wrong | wrong: trusted, with care, "
    "not to be used | wrong by chance | size wrong | of these trusted | flagged, % | most frequent flags |",
    "|---|---|---|---|---|---|---|---|---|---|---|---|---|",
)
GRID = np.array(COARSE)


def specimen(number: int) -> Case:
    """A specimen of ground wire as it should be, every second with microstrain."""
    one = case(50_000 + number, aberrations=True, strained=number % 2 == 1)
    others = tuple(replace(x, a_nm=NIOBIUM_NM) if x.name == "nb" else x for x in one.sample.others)
    return replace(one, sample=replace(one.sample, others=others, specimen_length_mm=LENGTH_MM))


@lru_cache(maxsize=2)
def calibrated(
    instrument: InstrumentTruth, displacement_mm: float, domain_size_nm: float, seed: int, scan: Scan | None = None
) -> Instrument:
    """What a scan of LaB6 makes of an instrument, slit and length told as they are, the powder as packed as is thought.

    With a `scan` its standard meets what befalls the specimen.
    """
    powder: dict[str, Any] = {
        "displacement_mm": displacement_mm,
        "domain_size_nm": domain_size_nm,
        "specimen_length_mm": 50.0,
        "attenuation_per_mm": LAB6_PER_MM,
    }
    if scan is None:
        pattern = as_pattern(*simulate_standard(instrument, two_theta=GRID, seed=seed, **powder))
    else:
        pattern = measured(scan, simulate_standard(instrument, two_theta=angles(scan), **powder)[1], seed)
    return calibrate(
        pattern, "srm-660c", detector_distance_mm=217.5, divergence_deg=SLIT_DEG, specimen_length_mm=50.0
    ).instrument


def angles(scan: Scan) -> np.ndarray:
    """Where it is measured."""
    return GRID if scan.step_deg is None else np.arange(GRID[0], GRID[-1], scan.step_deg)


def measured(scan: Scan, means: np.ndarray, seed: int) -> xr.DataArray:
    """Count, spoil, write, read."""
    grid = angles(scan)
    return read(*scan.after(grid, scan.count(scan.before(grid, means), seed)))


def read(two_theta: np.ndarray, intensities: np.ndarray) -> xr.DataArray:
    """Through a file, as a user's pattern comes."""
    whole = bool(np.all(intensities == np.rint(intensities)))
    short = bool(np.allclose(two_theta, np.round(two_theta, 2), atol=1e-9, rtol=0.0))
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "scan.xy"
        formats = ["%.2f" if short else "%.4f", "%d" if whole else "%.7g"]
        np.savetxt(file, np.column_stack([two_theta, intensities]), fmt=formats)
        return read_pattern(file, radiation="cu-ka")


def evaluate(scan: Scan, instrument: Instrument, seed: int) -> tuple[Material, Row]:
    """Measure, read, fit, characterise; the material, and what is said of it: flags, verdict, chi squared."""
    means = expected_counts(scan.sample, scan.instrument, angles(scan), peak_counts=PEAK_COUNTS)
    fit = fit_pattern(
        measured(scan, means, seed),
        instrument,
        divergence_deg=scan.told_slit_deg,
        specimen_length_mm=scan.told_length_mm,
        options=FitOptions(**scan.asked),
    )
    material = characterise(
        fit.values,
        fit.contributions,
        Specimen(mount="ground-powder", temperature_c=22.5, u_temperature_k=1.2, undoped=scan.told_undoped),
        radiation=radiation("cu-ka"),
        tin_held=fit.tin_held,
        by_tin=fit.by_tin,
    )
    return material, {
        "flags": sorted({flag.name for flag in (*fit.flags, *material.flags)}),
        "words": weighed_words(fit.quality_words, material.flags),
        "chi2": fit.chi2_reduced,
    }


def work(truth: int, kind: str, repeats: int) -> list[Row]:
    """Some scans of one kind and one specimen."""
    one = specimen(truth)
    found = []
    for repeat in range(repeats):
        seed = (number_of(kind) * 10_000 + truth) * 100 + repeat
        rng = np.random.default_rng(seed)
        scan = KINDS.get(kind, clean)(rng, one.sample, one.instrument)
        row: Row = {"kind": kind, "truth": truth, "repeat": repeat, "how": scan.how}
        # Strain and warmth that nobody told of shift what is measured; a distribution is what the specimen is.
        truths = {
            "a_nm": one.sample.lattice_nm,
            "site_order": scan.sample.site_order,
            "domain_size_nm": scan.sample.volume_weighted_nm,
        }
        if scan.sample.lattice is not None:
            truths["a_nm"] = scan.sample.lattice_nm
        try:
            instrument = calibrated(
                scan.calibrated_with or one.instrument, one.standard_displacement_mm, scan.standard_domain_size_nm,
                1_000_003 + truth, scan if scan.standard_too else None,
            )  # fmt: skip
            material, said = evaluate(scan, instrument, seed + 1)
        except XrdorderError as error:
            found.append(row | {"refused": str(error)})
            continue
        except Exception as error:  # a crash is a result, and the worst
            found.append(row | {"crash": f"{type(error).__name__}: {error}"})
            continue
        table = material.contributions
        for quantity, true in truths.items():
            value = material.values.get(quantity, np.nan)
            if np.isfinite(value):
                row[quantity] = [value - true, material.u(quantity), u_counting(table, quantity)]
        found.append(row | said)
    return found


def number_of(kind: str) -> int:
    """The same in every process, whatever other kinds there are."""
    return zlib.crc32(kind.encode())


def wrong(row: Row, quantities: Sequence[str] = ("a_nm", "site_order")) -> list[str]:
    """Quantities that are off by more than they admit."""
    return [q for q in quantities if q in row and abs(row[q][0]) > SIGMAS * row[q][1]]


def wrong_size(row: Row) -> bool:
    return bool(wrong(row, ("domain_size_nm",)))


def told(row: Row) -> set[str]:
    """Flags that say something is the matter."""
    return set(row.get("flags", ())) - ORDINARY - (frozenset() if row["kind"] == CLEAN else RESERVE)


def _line(kind: str, rows: Sequence[Row]) -> str:
    off = [row for row in rows if wrong(row)]
    quiet = [row for row in off if not told(row)]
    by = Counter(q for row in off for q in wrong(row))
    verdicts = Counter(grade(row["words"]) for row in off)
    sizes = [row for row in rows if wrong_size(row)]
    chance = sum(2.0 * norm.sf(SIGMAS * row[q][1] / row[q][2]) for row in rows for q in by_quantity(row))
    loud = sum(bool(told(row)) for row in rows)
    cells = [
        len(rows),
        sum("refused" in row for row in rows),
        sum("crash" in row for row in rows),
        sum("flags" in row and "a_nm" not in row for row in rows),
        f"{len(off)} ({by['a_nm']}, {by['site_order']})",
        len(quiet),
        f"{verdicts['A']}, {verdicts['B']}, {verdicts['C']}",
        f"{chance:.2f}",
        f"{len(sizes)} of {sum('domain_size_nm' in row for row in rows)}",
        sum(grade(row["words"]) == "A" for row in sizes),
        f"{100 * loud / len(rows):.1f}",
    ]
    names = Counter(name for row in rows for name in told(row)).most_common(4)
    return f"| {kind} | {' | '.join(map(str, cells))} | {', '.join(f'{n} {k}' for n, k in names) or 'none'} |"


def by_quantity(row: Row) -> list[str]:
    """Quantities that a row gives with some uncertainty from counting."""
    return [q for q in ("a_nm", "site_order") if q in row and row[q][2] > 0.0]


def table(rows: Sequence[Row]) -> list[str]:
    """Markdown of a campaign."""
    lines = list(HEADER)
    kinds = list(dict.fromkeys(row["kind"] for row in rows))
    lines += [_line(kind, [row for row in rows if row["kind"] == kind]) for kind in kinds]
    spoiled = [row for row in rows if row["kind"] not in {CLEAN, *UNSEEN}]
    if spoiled:
        lines.append(_line(f"**all but clean and {', '.join(sorted(UNSEEN))}**", spoiled))
        lines.append(_line("**all but clean**", [row for row in rows if row["kind"] != CLEAN]))
    return lines


def quiet_ones(rows: Sequence[Row]) -> list[str]:
    """Each quietly wrong result, to be looked at."""
    lines = []
    for row in rows:
        if "crash" in row:
            lines.append(f"{row['kind']} / {row['truth']}: {row['how']}: {row['crash']}")
        quantities = wrong(row) if not told(row) else []
        if wrong_size(row) and grade(row["words"]) == "A":
            quantities.append("domain_size_nm")
        if quantities:
            said = ", ".join(f"{q} {row[q][0]:+.2g} = {row[q][0] / row[q][1]:+.1f} u" for q in quantities)
            lines.append(f"{row['kind']} / {row['truth']}: {row['how']}: {said}")
    return lines


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--truths", type=int, default=120, help="specimens; each meets every kind once")
    parser.add_argument("--first", type=int, default=0, help="number of the first specimen")
    parser.add_argument("--clean", type=int, default=4, help="clean scans of each specimen")
    parser.add_argument("--kinds", nargs="*", choices=[*KINDS, CLEAN], default=[CLEAN, *KINDS])
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--out", type=Path, default=Path("corrupted.jsonl"))
    parser.add_argument("--write", action="store_true", help="into docs/contributing/robustness.md")
    given: Any = parser.parse_args(arguments)
    jobs: list[Job] = [
        (truth, kind, given.clean if kind == CLEAN else 1)
        for truth in range(given.first, given.first + given.truths)
        for kind in given.kinds
    ]
    rows = run(work, jobs, given.workers, given.out)
    lines = table(rows)
    if given.write:
        evidence_page.write("mishaps", lines, evidence_page.commit(), evidence_page.ROBUSTNESS)
    print("\n".join(lines))
    print("\n".join(["", "Quietly wrong and crashed:", *quiet_ones(rows)]))


if __name__ == "__main__":
    main()
