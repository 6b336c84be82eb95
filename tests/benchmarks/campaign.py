"""Do suggestions find the best treatment? Simulated campaigns whose best treatment the test knows.

``python -m tests.benchmarks.campaign [--seeds 100] [--flat 400] [--workers 2] [--out campaign.jsonl]`` prints the
table of docs/contributing/planning.md; the file keeps what is done. A campaign is six treatments spread over the
furnace limits, then eight more as suggested, in batches of three, three and two. Values carry noise of 2 % of the
range and an error common to all of 10 %. Regret is what the treatment that is called best after that truly lacks
against the best inside the limits.

The truths are made for this test: grains grow and the upper critical field rises with temperature and time by rate
laws with rounded numbers, and the current density at a field follows from both as pinning does. Nothing of it is
meant to be a wire.
"""

import argparse
from collections.abc import Callable, Sequence
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.stats import binom

from tests.benchmarks.record import Job, Row, run
from xrdorder.comparison import Values
from xrdorder.planning import Furnace, Space, plan
from xrdorder.treatments import History, Schedule

Array = NDArray[np.float64]

FURNACE = Furnace((600.0, 750.0), (10.0, 300.0), 50.0, 400.0)
STARTS = ((610.0, 30.0), (615.0, 200.0), (660.0, 80.0), (700.0, 15.0), (705.0, 220.0), (740.0, 60.0))
BATCHES = (3, 3, 2)
NOISE, COMMON = 0.02, 0.10
DOSE = (300.0, 650.0)
"""Q in kJ/mol that the planner is told, and reference in °C; the truths have other energies."""
REGRET = 0.02
CHANCE = 1e-3

Truth = Callable[[History], float]


def rate(kelvin: float, energy_kj_per_mol: float) -> float:
    """Rate against that at 650 °C."""
    return float(np.exp(-energy_kj_per_mol * 1e3 / 8.314 * (1.0 / kelvin - 1.0 / 923.15)))


def grain_nm(one: History) -> float:
    hours = one.hold_at_peak_h
    return float(90.0 * (1.0 + 0.5 * rate(one.peak_c + 273.15, 250.0) * (hours / 100.0)) ** 0.35)


def field_t(one: History) -> float:
    """Upper critical field: what has reacted and how near it is to stoichiometry."""
    done = 1.0 - np.exp(-((rate(one.peak_c + 273.15, 220.0) * one.hold_at_peak_h / 60.0) ** 0.6))
    return float(20.0 + 6.0 * done)


def current(field: float) -> Truth:
    """Relative current density at a field: finer grains pin better, and the field must be far from the critical one."""

    def of(one: History) -> float:
        h = min(field / field_t(one), 1.0)
        reacted = 1.0 - np.exp(-((rate(one.peak_c + 273.15, 220.0) * one.hold_at_peak_h / 25.0) ** 0.7))
        pinning = np.exp(-grain_nm(one) / 100.0) * field_t(one) ** 2
        return float(reacted * pinning * np.sqrt(h) * (1.0 - h) ** 2 / field)

    return of


def flat(_: History) -> float:
    return 1.0


TRUTHS: dict[str, Truth] = {"12 T": current(12.0), "16 T": current(16.0), "flat": flat}


@cache
def space() -> Space:
    return Space(FURNACE, DOSE)


class Campaign:
    """A truth and its noise; values are scaled so that the range over the limits is one."""

    def __init__(self, truth: str, seed: int, noise: float = NOISE) -> None:
        self.space = space()
        self.truth = TRUTHS[truth]
        every = np.array([self.truth(one) for one in self.space.candidates])
        self.low, self.top = float(every.min()), float(every.max())
        self.range = self.top - self.low or 1.0
        self.noise = noise
        self.random = np.random.default_rng(seed)
        self.offset = COMMON * self.random.standard_normal()
        self.treatments: list[Schedule] = []
        self.values: list[float] = []

    def react(self, one: Schedule) -> None:
        true = (self.truth(one) - self.low) / self.range
        self.treatments.append(one)
        self.values.append(true + self.offset + self.noise * self.random.standard_normal())

    def measured(self) -> Values:
        n = len(self.values)
        names = tuple(f"w{k}" for k in range(n))
        own = np.full((n, 1), self.noise)
        return Values("relative current density", names, np.array(self.values), np.full((n, 1), COMMON), own)

    def plan(self, number: int = 1) -> Any:
        return plan(self.measured(), self.treatments, self.space, number=number)

    def regret(self, one: History) -> float:
        return (self.top - self.truth(one)) / self.range


def campaign(truth: str, seed: int, noise: float = NOISE) -> Row:
    """Run one campaign."""
    one = Campaign(truth, seed, noise)
    for temperature, hours in STARTS:
        one.react(FURNACE.schedule(temperature, hours, 50.0))
    looks, pulls = [], []
    for number in BATCHES:
        found = one.plan(number)
        looks.append(found.distinguishable)
        for proposal in found.proposals:
            one.react(proposal.schedule)
            if found.best is not None:
                true = one.regret(found.best.schedule) - one.regret(proposal.schedule)
                pulls.append((proposal.difference - true) / proposal.u_difference)
    last = one.plan()
    looks.append(last.distinguishable)
    row: Row = {"truth": truth, "seed": seed, "noise": noise, "false": any(looks), "last": last.state}
    if last.best is not None:
        surface, _ = last.surface(one.space.candidates)
        row["regret"] = one.regret(last.best.schedule)
        row["regret of the surface"] = one.regret(one.space.candidates[int(np.argmax(surface))])
        row["sure"] = last.best.probability
        row["start"] = min(one.regret(treatment) for treatment in one.treatments[: len(STARTS)])
        # of two that are equal within rounding either is the best
        least = min(one.regret(treatment) for treatment in one.treatments)
        row["is best"] = one.regret(last.best.schedule) <= least + 1e-9
        row["pulls"] = pulls
    return row


def work(truth: str, noise: float, first: int, number: int) -> list[Row]:
    return [campaign(truth, first + k, noise) for k in range(number)]


def false_limit(n: int, share: float = 0.05, chance: float = CHANCE) -> int:
    """Most false verdicts that the binomial law lets pass where their share is as told."""
    return int(binom.ppf(1.0 - chance, n, share))


def table(rows: Sequence[Row]) -> list[str]:
    lines = [
        "| truth | noise, % of range | campaigns | regret below 2 % | largest regret, % | best start, % "
        "| named best is best (said) | proposals within u, 2 u |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for truth, noise in dict.fromkeys((row["truth"], row["noise"]) for row in rows if row["truth"] != "flat"):
        mine = [row for row in rows if (row["truth"], row["noise"]) == (truth, noise)]
        regrets = np.array([row.get("regret", np.inf) for row in mine])
        sure = np.mean([row.get("sure", 0.0) for row in mine])
        start = 100 * np.median([row.get("start", np.nan) for row in mine])
        good = f"{np.mean(regrets < REGRET):.3f}"
        best = np.mean([row.get("is best", False) for row in mine])
        pulls = np.abs(np.concatenate([np.zeros(0), *(row.get("pulls", []) for row in mine)]))
        lines.append(
            f"| {truth} | {100 * noise:g} | {len(mine)} | {good} | {100 * np.max(regrets):.1f} | {start:.1f} "
            f"| {best:.2f} ({sure:.2f}) | {np.mean(pulls < 1):.2f}, {np.mean(pulls < 2):.2f} |"
        )
    none = [row for row in rows if row["truth"] == "flat"]
    if none:
        false = sum(row["false"] for row in none)
        lines += ["", f"Without any difference: {false} of {len(none)} campaigns gave a verdict at any look "]
        lines[-1] += f"(one in twenty would be at most {false_limit(len(none))})."
    return lines


def jobs(seeds: int, none: int, size: int = 10) -> list[Job]:
    found: list[Job] = []
    for truth, noise, number in (("12 T", NOISE, seeds), ("16 T", NOISE, seeds), ("flat", NOISE, none)):
        found += [(truth, noise, first, min(size, number - first)) for first in range(0, number, size)]
    return found


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=100, help="campaigns of each truth")
    parser.add_argument("--flat", type=int, default=400, help="campaigns without any difference")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--out", type=Path, default=Path("campaign.jsonl"))
    told = parser.parse_args(arguments)
    print("\n".join(table(run(work, jobs(told.seeds, told.flat), told.workers, told.out))))


if __name__ == "__main__":
    main()
