"""Do suggestions find the best treatment? Simulated campaigns whose best treatment the test knows.

``python -m tests.benchmarks.campaign [--campaigns 200] [--seed 1000] [--workers 2] [--write]`` prints the tables of
docs/contributing/planning.md, and writes them there. A campaign is a wire lot with three random treatments, then three
proposals one after the other, each reacted and measured. Regret is what the treatment that is named best lacks against
the best inside 580 to 740 °C and 5 to 400 h, in per cent of its current (or Tc).

The truths share no code and no formula with the model: layers grow inside cylinders until the niobium is used up,
grains by a power law with a start size, pinning falls exponentially with grain size, Bc2 and Tc rise towards a
saturation, coarse grains take current from hot and long treatments, and temperature and time interact. Each lot draws
its own numbers. Nothing of it is meant to be a wire.
"""

from __future__ import annotations

import argparse
import json
import re
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

SEEN_C, SEEN_H = (580.0, 740.0), (5.0, 400.0)
PRACTICE = {"tin": ((600.0, 720.0), (15.0, 340.0)), "bronze": ((600.0, 700.0), (30.0, 300.0))}
"""Where wires have their optimum at 12 T, °C and h: schedules of makers (arXiv:1701.08681, 2302.07825, G05), and twice
as far to either side. Lots whose optimum lies elsewhere are drawn anew: nobody would react such a wire as wires are."""

IC_NOISE, IC_COMMON = 0.025, 0.85
_EVERYWHERE = np.meshgrid(np.linspace(*SEEN_C, 65), np.geomspace(*SEEN_H, 60))
CELLS = [(route, field, ic) for ic in (True, False) for field in (12.0, 16.0) for route in ("tin", "bronze")]


def arrhenius(celsius: Array | float, kilojoule: float) -> Array:
    """Rate against that at 650 °C."""
    return np.asarray(np.exp(kilojoule / 8.314e-3 * (1.0 / 923.15 - 1.0 / (np.asarray(celsius) + 273.15))))


class Lot:
    """A wire lot with numbers of its own, and its wires."""

    def __init__(self, route: str, seed: int, *, flat: bool = False) -> None:
        self.random = np.random.default_rng(seed)
        self.route, self.flat = route, False
        (cold, hot), (short, long) = PRACTICE[route]
        while True:
            self._draw()
            t, h = self.optimum(12.0)
            if cold <= t <= hot and short <= h <= long:
                break
        self.flat = flat

    def _draw(self) -> None:
        r, bronze = self.random, self.route == "bronze"
        self.e_layer = r.normal(225.0, 20.0)
        self.t_full = (90.0 if bronze else 50.0) * np.exp(0.35 * r.standard_normal())  # h at 650 °C until all is used
        self.linear = r.uniform(0.1, 0.6)  # share of the layer that grows linearly
        # sizes of wires go with 50 to 63 kJ/mol after equal times, and with t^0.07 (arXiv:1310.6729, arXiv:2301.00756)
        self.n_grain = r.uniform(5.0, 12.0)
        self.e_grain = float(np.clip(self.n_grain * r.uniform(45.0, 80.0), 220.0, 750.0))
        self.d_start, self.d_usual = r.uniform(70.0, 95.0), r.normal(115.0, 8.0)
        # from one over the size (arXiv:1310.6729) to 176 nm (bronze, arXiv:2306.13071)
        self.decay = r.normal(176.0, 12.0) if bronze else r.uniform(110.0, 180.0)
        self.bc2_top, self.bc2_low = r.normal(25.6 if bronze else 25.4, 0.9), abs(r.normal(3.0, 1.0))
        self.t_bc2 = 14.0 * np.exp(0.3 * r.standard_normal())
        self.bc2_by_t = r.normal(1.2 if bronze else 1.5, 0.6)  # T, over some 50 K, saturating
        self.coarse_c, self.coarse_w = r.normal(755.0, 12.0), r.uniform(12.0, 22.0)
        self.twist = 0.025 * r.standard_normal(2)
        self.p, self.q = r.normal(0.45, 0.05), r.normal(2.05, 0.1)
        self.tc_top, self.tc_low, self.tc_by_t = r.normal(17.5, 0.2), abs(r.normal(0.8, 0.3)), r.normal(0.35, 0.15)
        self.amperes = np.exp(r.normal(5.5, 0.7))
        self.gap, self.tin0 = np.exp(r.normal(-0.1, 0.15)), r.normal(23.8, 1.0)
        self.per_tin = np.exp(r.normal(1.7, 0.3))

    def converted(self, celsius: Array, hours: Array) -> Array:
        """Share of niobium used: a layer that grows inwards, first linearly and then by diffusion."""
        done = arrhenius(celsius, self.e_layer) * hours / self.t_full
        tau = self.linear**2
        layer = (np.sqrt(done + tau) - np.sqrt(tau)) / (np.sqrt(1.0 + tau) - np.sqrt(tau))
        return np.asarray(1.0 - np.clip(1.0 - layer, 0.0, 1.0) ** 2)

    def grains(self, celsius: Array, hours: Array) -> Array:
        """Grain size in nm."""
        n = self.n_grain
        grown = (self.d_usual**n - self.d_start**n) * arrhenius(celsius, self.e_grain) * hours / 100.0
        return np.asarray((self.d_start**n + grown) ** (1.0 / n))

    def rise(self, celsius: Array, hours: Array) -> Array:
        """How far the layer is from tin-poor, 0 to 1."""
        done = arrhenius(celsius, 220.0) * hours / self.t_bc2
        return np.asarray(done / (1.0 + done))

    def field(self, celsius: Array, hours: Array) -> Array:
        warm = np.tanh((celsius - 650.0) / 50.0)
        return np.asarray(self.bc2_top + self.bc2_by_t * warm - self.bc2_low * (1.0 - self.rise(celsius, hours)))

    def tc(self, celsius: Array, hours: Array) -> Array:
        warm = np.tanh((celsius - 650.0) / 50.0)
        over = 0.15 / (1.0 + np.exp(-(celsius - self.coarse_c + 25.0) / self.coarse_w)) * np.log1p(hours / 20.0)
        return np.asarray(self.tc_top + self.tc_by_t * warm - self.tc_low * (1.0 - self.rise(celsius, hours)) - over)

    def current(self, celsius: Array, hours: Array, at_t: float) -> Array:
        if self.flat:
            return np.full(np.broadcast(celsius, hours).shape, self.amperes)
        b = np.minimum(at_t / self.field(celsius, hours), 0.99)
        force = np.exp(-self.grains(celsius, hours) / self.decay) * self.field(celsius, hours) ** 2
        coarse = 1.0 / (1.0 + np.exp(-(celsius + 12.0 * np.log(hours / 60.0) - self.coarse_c) / self.coarse_w))
        u, v = (celsius - 660.0) / 60.0, np.log(hours / 80.0) / np.log(4.0)
        twisted = np.exp(self.twist[0] * np.tanh(u * v) + self.twist[1] * np.tanh(u - v))
        share = self.converted(celsius, hours) * (1.0 - 0.45 * coarse)
        return np.asarray(self.amperes * share * force * twisted * b**self.p * (1.0 - b) ** self.q / at_t)

    def value(self, celsius: Array, hours: Array, what: float | str) -> Array:
        return self.tc(celsius, hours) if what == "tc" else self.current(celsius, hours, float(what))

    def best(self, what: float | str) -> float:
        """Largest value inside the limits."""
        return float(np.max(self.value(*_EVERYWHERE, what)))

    def optimum(self, what: float | str) -> tuple[float, float]:
        """Where it lies."""
        k = int(np.argmax(self.value(*_EVERYWHERE, what)))
        return float(_EVERYWHERE[0].flat[k]), float(_EVERYWHERE[1].flat[k])

    def start(self) -> list[tuple[float, float]]:
        """Three random treatments, as a laboratory begins."""
        r = self.random
        logs = np.log(20.0), np.log(250.0)
        return [(5.0 * round(r.uniform(610.0, 710.0) / 5.0), float(round(np.exp(r.uniform(*logs))))) for _ in range(3)]

    def measure(self, celsius: float, hours: float, fields: Sequence[float]) -> dict[str, float]:
        """React a wire and measure it."""
        r, (t, h) = self.random, (np.array([celsius]), np.array([hours]))
        common = r.standard_normal()
        found = {
            "t": celsius, "h": hours,
            "size": float(np.log(self.grains(t, h) * self.gap)[0] + 0.08 * r.standard_normal()),
            "niobium": float(0.96 * self.converted(t, h)[0] + 0.02 * r.standard_normal()),
            "tin": float(self.tin0 + (self.field(t, h)[0] - 25.0) / self.per_tin + 0.15 * r.standard_normal()),
            "tc": float(self.tc(t, h)[0] + 0.12 * r.standard_normal()),
        }  # fmt: skip
        for at in fields:
            noise = IC_NOISE * (np.sqrt(IC_COMMON) * common + np.sqrt(1.0 - IC_COMMON) * r.standard_normal())
            found[f"ic {at:g}"] = float(np.log(self.current(t, h, at)[0]) + noise)
        return found


Planner = Callable[[str, list[dict[str, float]], float | str, bool], tuple[int, tuple[float, float], list[Any]]]
"""Route, wires, objective, whether Ic was measured; gives the wire named best, the next treatment, pairs claimed."""


@cache
def _candidates() -> Any:
    from xrdorder.planning.window import Candidates, Limits
    from xrdorder.treatments import Schedule, Step

    limits = Limits(*SEEN_C, *SEEN_H)
    return Candidates.of(limits, [Schedule((Step(650.0, 100.0, 50.0),))]), limits


def by_process(route: str, wires: list[dict[str, float]], what: float | str, ic: bool) -> Any:
    """Give what the planner says."""
    from xrdorder.kinetics import ROUTES
    from xrdorder.planning.choice import Direct
    from xrdorder.planning.inference import Observed
    from xrdorder.planning.planner import TC, LotProcess, Objective, Wires, plan
    from xrdorder.treatments import Schedule, Step

    places = list(dict.fromkeys((one["t"], one["h"]) for one in wires))
    of = np.array([places.index((one["t"], one["h"])) for one in wires])
    n = len(wires)

    def seen(kind: str, u: float) -> Observed:
        return Observed(((kind, of),), np.array([one[kind] for one in wires]), u**2 * np.eye(n))

    patterns = {"size": 0.10, "niobium": 0.03, "tin": 0.25}
    if what == "tc":
        patterns = {"niobium": 0.03, "tc": 0.15}
    observed = [seen(kind, u) for kind, u in patterns.items()]
    coming, noise = list(patterns), list(patterns.values())
    objective, direct = TC if what == "tc" else Objective.current(float(what)), {}
    kind = "tc" if what == "tc" else f"ic {what:g}"
    if ic or what == "tc":
        u = 0.15 if what == "tc" else IC_NOISE
        value = np.array([one[kind] for one in wires])
        if ic:
            observed.append(Observed(((objective.kind, of),), value, u**2 * np.eye(n)))
            coming, noise = [*coming, objective.kind], [*noise, u]
        mean = np.array([value[of == k].mean() for k in range(len(places))])
        spread = np.diag(u**2 / np.bincount(of))
        direct = {objective.kind: Direct(np.arange(len(places)), mean, spread, 8.0)}
    treatments = tuple(Schedule((Step(t, h, 50.0),)) for t, h in places)
    lot = LotProcess(
        Wires(treatments, tuple(observed), direct, tuple(coming), np.diag(np.square(noise))),
        ROUTES["internal-tin" if route == "tin" else "bronze"], () if what == "tc" else (float(what),),
    )  # fmt: skip
    candidates, limits = _candidates()
    found = plan(lot, objective, candidates, limits)
    named = int(np.flatnonzero(of == found.best)[0])
    first = found.proposals[0] if found.proposals else None
    step = (first.schedule.peak_c, first.schedule.hold_at_peak_h, first.rrr[1]) if first else None
    pairs = [
        (int(np.flatnonzero(of == a)[0]), int(np.flatnonzero(of == b)[0]))
        for a in range(len(places)) for b in range(len(places)) if a != b and found.better(a, b)
    ]  # fmt: skip
    return named, step, pairs


def by_expert(route: str, wires: list[dict[str, float]], what: float | str, ic: bool) -> Any:
    """An expert's rule: the makers' optimum first, then a step of 15 K or a factor 1.5 about the best, in turn."""
    at = (660.0, 70.0) if route == "tin" else (650.0, 140.0)
    done = {(one["t"], one["h"]) for one in wires}
    if ic or what == "tc":
        key = "tc" if what == "tc" else f"ic {what:g}"
        named = int(np.argmax([one[key] for one in wires]))
    else:
        named = int(np.argmin([np.hypot((w["t"] - at[0]) / 30.0, np.log(w["h"] / at[1]) / np.log(2.2)) for w in wires]))
    t, h = wires[named]["t"], wires[named]["h"]
    around = [at, (t + 15.0, h), (t - 15.0, h), (t, round(1.5 * h)), (t, round(h / 1.5)), (t, h)]
    return named, (*next(one for one in around if one not in done or one == (t, h)), np.nan), []


@dataclass(frozen=True)
class Told:
    """One campaign: regret in % before and after each proposal, claims right and made, proposals at an edge."""

    regrets: tuple[float, ...]
    claims: int
    right: int
    pairs: int
    edges: int
    below_rrr: int
    proposals: int


def campaign(planner: Planner, route: str, what: float | str, ic: bool, seed: int, flat: bool = False) -> Told:
    """Run one campaign."""
    lot = Lot(route, seed, flat=flat)
    fields = [float(what)] if what != "tc" else []
    wires = [lot.measure(*one, fields) for one in lot.start()]
    top = lot.best(what)
    regrets, edges, below, proposed = [], 0, 0, 0
    pairs: list[tuple[int, int]] = []
    for _ in range(4):
        named, step, pairs = planner(route, wires, what, ic)
        true = float(lot.value(np.array([wires[named]["t"]]), np.array([wires[named]["h"]]), what)[0])
        regrets.append(100.0 * (1.0 - true / top))
        if step is not None and len(regrets) < 4:
            t, h, rrr = step
            proposed += 1
            edges += t in SEEN_C or h in SEEN_H
            below += rrr < 100.0
            wires.append(lot.measure(t, h, fields))
    values = [float(lot.value(np.array([w["t"]]), np.array([w["h"]]), what)[0]) for w in wires]
    right = sum(values[a] > values[b] for a, b in pairs)
    made = len({(one["t"], one["h"]) for one in wires})
    return Told(tuple(regrets), len(pairs), right, made * (made - 1) // 2, edges, below, proposed)


def _job(arguments: tuple[Any, ...]) -> list[Told]:
    name, route, what, ic, seeds, flat = arguments
    planner = {"process": by_process, "expert": by_expert}[name]
    return [campaign(planner, route, what, ic, seed, flat) for seed in seeds]


def cell(pool: Any, name: str, route: str, what: float | str, ic: bool, first: int, number: int, flat: bool = False
         ) -> list[Told]:  # fmt: skip
    """Run the campaigns of a cell."""
    parts = [range(first + k, min(first + k + 25, first + number)) for k in range(0, number, 25)]
    jobs = [(name, route, what, ic, tuple(part), flat) for part in parts]
    return [one for part in pool.map(_job, jobs) for one in part]


def line(what: float | str, route: str, ic: bool, told: Sequence[Told], expert: Sequence[Told], earlier: str) -> str:
    """One cell as a row of the table."""
    r = np.array([one.regrets for one in told])
    upper = r[:, 3].mean() + 1.645 * r[:, 3].std() / np.sqrt(len(r))
    rule = np.array([one.regrets for one in expert])[:, 3].mean()
    claims, right = sum(one.claims for one in told), sum(one.right for one in told)
    proposals = sum(one.proposals for one in told)
    sure = f"{100 * right / claims:.1f} of {claims}" if claims else "none made"
    aim = "Tc" if what == "tc" else f"{what:g} T"
    edges, below = (100 * sum(some) / proposals for some in zip(*((x.edges, x.below_rrr) for x in told), strict=True))
    shares = f"{edges:.0f}, {below:.0f}"
    return (
        f"| {route} | {aim} | {'-' if what == 'tc' else 'all' if ic else 'none'} | {len(r)} | {r[:, 0].mean():.2f} "
        f"| {r[:, 1].mean():.2f}, {r[:, 2].mean():.2f}, **{r[:, 3].mean():.2f}** | {upper:.2f} | {rule:.2f} "
        f"| {earlier} | {sure} | {shares} |"
    )


HEAD = (
    "| wire | aim | Ic measured | campaigns | regret at the start, % | after 1, 2, 3 proposals, % | upper limit (95 %) "
    "| expert's rule | response surface | claims right, % | at an edge, below RRR 100, % |\n"
    "|---|---|---|---|---|---|---|---|---|---|---|"
)
EARLIER = Path(__file__).with_name("campaign_earlier.json")
"""Regret after three proposals of the response surfaces that planned before (commit 365cd6b), on the same lots."""

DOC = Path(__file__).parents[2] / "docs" / "contributing" / "planning.md"


def table(campaigns: int, first: int, workers: int) -> list[str]:
    """Run all cells."""
    earlier = json.loads(EARLIER.read_text(encoding="utf-8")) if EARLIER.exists() else {}
    lines = [f"Seeds {first} to {first + campaigns - 1}, which nothing was chosen by.", "", HEAD]
    with ProcessPoolExecutor(workers) as pool:
        for route, field, ic in [*CELLS, ("tin", "tc", False), ("bronze", "tc", False)]:
            told = cell(pool, "process", route, field, ic, first, campaigns)
            expert = cell(pool, "expert", route, field, ic, first, campaigns)
            known = earlier.get(f"{route} {field} {ic}")
            lines.append(line(field, route, ic, told, expert, f"{known:.2f}" if known else "-"))
            print(lines[-1], flush=True)
        flat = [one for route in ("tin", "bronze") for one in cell(pool, "process", route, 12.0, True, first, 50, True)]
    pairs, claims = sum(one.pairs for one in flat), sum(one.claims for one in flat)
    lines += ["", f"Where treatments do not differ {claims} of {pairs} pairs were called better (100 campaigns)."]
    return lines


def main() -> None:
    """Print the tables, and write them into the docs."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--campaigns", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1000)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--write", action="store_true")
    told = parser.parse_args()
    text = "\n".join(table(told.campaigns, told.seed, told.workers))
    print(text)
    if told.write:
        old = DOC.read_text(encoding="utf-8")
        between = r"(<!-- campaigns -->\n).*?(<!-- end of campaigns -->)"
        DOC.write_text(re.sub(between, lambda m: f"{m[1]}{text}\n{m[2]}", old, flags=re.S), encoding="utf-8")


if __name__ == "__main__":
    main()
