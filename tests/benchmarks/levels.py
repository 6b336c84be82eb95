"""At which level do published samples differ: laboratories, lots of one laboratory, samples of one lot?

    python -m tests.benchmarks.levels [--write]

Bc2(0) over Tc is taken as a mean, a part of the laboratory, one of the lot, a change with Tc (within a lot, about its
mean Tc, bent as the model bends it) that belongs to the laboratory or to the lot, and a part of the sample. Their
standard deviations are those of highest restricted likelihood (H. D. Patterson, R. Thompson, Biometrika 58 (1971)
545, from memory); the range is where the profile of that likelihood is above exp(-1/2) of its best. Prints the table of
docs/contributing/evidence.md; `--write` puts it there.
"""

import argparse
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from scipy.linalg import solve_triangular
from scipy.optimize import minimize

from tests.benchmarks import evidence_page
from tests.benchmarks.leave_one_laboratory_out import of_field
from xrdorder.estimates import PUBLISHED
from xrdorder.relations.published_samples import PublishedSample, published_samples

MADE_BY = (evidence_page.SAMPLES, Path(__file__))
"""What the table is made by."""

LEVELS = ("laboratory", "lot", "change by laboratory", "change by lot", "sample")
GRID = np.geomspace(0.002, 0.5, 45)
"""Standard deviations at which the likelihood is looked up."""
RANGE, NINE_FIVE = 0.5, 1.92
"""Loss of log likelihood at the ends of a 68 and a 95 % range of one parameter (half of chi squared)."""


def parts(samples: Sequence[PublishedSample]) -> dict[str, np.ndarray]:
    """Covariance of the samples by a unit of variance at each of `LEVELS`, (n, n); no change where Tc hardly does."""
    tc = np.array([s.Tc_K for s in samples])
    lots = [(s.source, s.lot or s.name) for s in samples]
    in_lab = np.array([[a.laboratory == b.laboratory for b in samples] for a in samples], dtype=float)
    in_lot = np.array([[a == b for b in lots] for a in lots], dtype=float)
    reach = PUBLISHED["ratio_by_tc_range_k"]
    away = reach * np.tanh((tc - in_lot @ tc / in_lot.sum(axis=1)) / reach)
    slopes = np.outer(away, away)
    found = dict(zip(LEVELS, (in_lab, in_lot, in_lab * slopes, in_lot * slopes, np.eye(len(tc))), strict=True))
    return found if np.abs(away).max() > 0.3 else {k: v for k, v in found.items() if "change" not in k}


class Restricted:
    """Restricted likelihood of the standard deviations of the levels of a quantity.

    Parameters
    ----------
    y : array, n
    parts : dict of level to array, (n, n)
    """

    def __init__(self, y: np.ndarray, parts: dict[str, np.ndarray]) -> None:
        self.y, self.parts = y, parts
        self.names = tuple(parts)
        starts = (np.full(len(parts), np.log(size)) for size in (0.03, 0.1))
        self.best = min((self._lowest(start, None, 0.0) for start in starts), key=lambda found: found[0])

    def loss(self, logs: np.ndarray) -> float:
        """Minus the log likelihood of logarithms of standard deviations."""
        v = sum(np.exp(2.0 * log) * part for log, part in zip(logs, self.parts.values(), strict=True))
        root = np.linalg.cholesky(v + 1e-12 * np.eye(len(self.y)))
        one, y = (solve_triangular(root, x, lower=True) for x in (np.ones(len(self.y)), self.y))
        mean = (one @ y) / (one @ one)
        return float(np.log(np.diag(root)).sum() + 0.5 * np.log(one @ one) + 0.5 * np.sum((y - mean * one) ** 2))

    def _lowest(self, start: np.ndarray, held: int | None, at: float) -> tuple[float, np.ndarray]:
        def loss(logs: np.ndarray) -> float:
            return self.loss(np.clip(logs if held is None else np.insert(logs, held, at), -9.0, 1.0))

        free = start if held is None else np.delete(start, held)
        found = minimize(loss, free, method="Nelder-Mead", options={"maxfev": 4000, "xatol": 1e-3, "fatol": 1e-5})
        return float(found.fun), found.x

    def sizes(self) -> dict[str, float]:
        """Standard deviations of highest likelihood."""
        logs = np.clip(self.best[1], -9.0, 1.0)
        return {name: float(np.exp(log)) for name, log in zip(self.names, logs, strict=True)}

    def lost(self, name: str, size: float) -> float:
        """Log likelihood lost where one standard deviation is held at a size, the others at their best."""
        return self._lowest(self.best[1], self.names.index(name), float(np.log(size)))[0] - self.best[0]

    def between(self, name: str) -> tuple[float, float]:
        """68 % range of a standard deviation by its profile, on `GRID`; from 0 where its lower end is."""
        inside = [size for size in GRID if self.lost(name, size) <= RANGE]
        return (0.0 if inside[0] == GRID[0] else float(inside[0])), float(inside[-1])


def restricted(*, doped: bool) -> Restricted:
    """Levels of Bc2(0) over Tc of doped or undoped samples."""
    samples = of_field(published_samples(), doped=doped)
    return Restricted(np.array([s.Bc2_T / s.Tc_K for s in samples]), parts(samples))


def table() -> list[str]:
    """Rows of docs/contributing/evidence.md."""
    lines = ["| Bc2(0)/Tc | level | standard deviation (68 % range) |", "|---|---|---|"]
    for words, doped in (("doped", True), ("undoped", False)):
        found = restricted(doped=doped)
        for name, size in found.sizes().items():
            low, high = found.between(name)
            unit = "T/K per K" if "change" in name else "T/K"
            lines.append(f"| {words} | {name} | {size:.3f} ({low:.3f}-{high:.3f}) {unit} |")
    return lines


def main() -> None:
    """Print the table, or write it into the page."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--write", action="store_true")
    lines = table()
    print("\n".join(lines))
    if parser.parse_args().write:
        evidence_page.write("levels", lines, evidence_page.fingerprint(*MADE_BY))


if __name__ == "__main__":
    main()
