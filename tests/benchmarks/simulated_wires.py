"""Do the joint draws hold on simulated wires? Coverage and rms z by kind of truth and size of study.

    python -m tests.benchmarks.simulated_wires [--studies 20] [--sizes 1x5,5x10] [--truths priors,uniform-5] [--anchor
    tc] [--hyper most_wires=1e6]
    python -m tests.benchmarks.simulated_wires --write

One row a setting: share of wires with tin beyond two u, then coverage at 68 and 95 % and rms z. `--write` puts the
tables of docs/contributing/evidence.md there (a quarter of an hour of one core; an interrupted run goes on where it
was). Asserts nothing. Truths are those of `tests.estimates.truths`, which shares nothing with the model; "model" and
"model-doubled" are drawn from the model's own hyper-parameters (`of_the_model`), to see whether the draws are those of
the posterior.
"""

import argparse
from dataclasses import replace
from pathlib import Path

import numpy as np

from tests.benchmarks import evidence_page
from tests.estimates import truths
from tests.estimates.truths import Setting, SimulatedWire, study
from xrdorder.estimates import (
    PUBLISHED,
    Hyperparameters,
    JointDraws,
    Measured,
    Wire,
    joint_draws,
    populations,
)
from xrdorder.estimates import evidence as evidence_of
from xrdorder.estimates import unknowns as unknowns_of
from xrdorder.estimates.model import DRAWS
from xrdorder.estimates.properties import critical_temperature, field_ratio
from xrdorder.uncertainty import Contributions

MADE_BY = (Path(truths.__file__), Path(__file__))
"""What the tables are made by, beside the model."""

TRUTHS = {
    "priors": Setting(),
    "priors-0": Setting(widening_pm=0.0),
    "priors-5": Setting(widening_pm=5.0),
    "uniform-5": Setting("uniform", "uniform", 5.0),
    "uniform-0": Setting("uniform", "uniform", 0.0),
    "uniform-9": Setting("uniform", "uniform", 9.0),
    "doubled": Setting(sizes=2.0),
}
WORDS = {
    "priors": "usual, drawn", "priors-0": "usual, 0 pm", "priors-5": "usual, 5 pm", "uniform-5": "uniform, 5 pm",
    "uniform-0": "uniform, 0 pm", "uniform-9": "uniform, 9 pm", "doubled": "usual, all sizes doubled",
    "model": "the model's own", "model-doubled": "the model's own, doubled",
    "tc": "one Tc a lot", "bc2": "one Bc2 a lot",
}  # fmt: skip
SMALL, MOST, MIDDLE = (30, 1, 5), (60, 1, 5), (8, 5, 10)
LARGE = {"priors-5": 5, "priors": 5, "uniform-5": 2, "uniform-0": 1, "uniform-9": 1}
TABLES = {
    "simulated": [
        *((truth, "", size) for truth, studies in LARGE.items()
          for size in (MOST if truth == "uniform-5" else SMALL, MIDDLE, (studies, 10, 50))),
        *((truth, "", size) for truth in ("model", "doubled", "model-doubled") for size in (SMALL, MIDDLE)),
    ],
    "anchored": [("priors-5", anchor, (30, 1, 8)) for anchor in ("tc", "bc2")],
}
"""Rows of docs/contributing/evidence.md: truth, what anchors each lot, (studies, lots, wires)."""
WALKERS_SHORT = 250
"""Studies of more wires have too few walkers for the draws of the others: they are drawn as often as for a user."""
SIZES = (
    "scale_pm", "slope_spread", "lot_offset_pm", "wire_scatter_pm", "u_widening_pm", "tin_in_lot", "disorder_in_lot",
    "u_probe_bias", "u_tin_offset", "tc_offset_k", "tc_scatter_k", "u_ratio_doped", "u_ratio_undoped", "ratio_scatter",
    "u_ratio_by_tc",
)  # fmt: skip
"""What is twice as large in truths of "model-doubled"."""


def of_the_model(
    simulated: list[SimulatedWire], hyper: Hyperparameters, rng: np.random.Generator
) -> list[SimulatedWire]:
    """Truths and measurements that the model itself takes for as probable as they are, for wires of a study."""
    evidence = evidence_of.gather(told(simulated), hyper)
    study = rng.standard_normal((1, unknowns_of.study_size(evidence)))
    lots = rng.standard_normal((1, len(evidence.lots), unknowns_of.lot_size(evidence)))
    shared = unknowns_of.read(evidence, hyper, study, lots)
    z, n = rng.standard_normal((4, 1, len(simulated))), hyper["wire_freedom"]
    wire = populations.state(hyper, shared.population, z[0], z[1])
    of_lot = unknowns_of.Relations(*(part[:, evidence.lot_of] for part in shared.relations))
    tc = critical_temperature(wire.tin, of_lot.tin_offset, of_lot.tc_offset)[0] + hyper["tc_scatter_k"] * z[2]
    bc2 = tc * (field_ratio(hyper, of_lot, tc) + of_lot.ratio_scatter * z[3])
    white = np.stack([rng.standard_t(n, len(simulated)), rng.standard_normal(len(simulated))], axis=1)
    noise = np.linalg.solve(evidence.whitening, white[:, :, None])[:, :, 0]
    missing, away = hyper["order_of_lines"] - wire.order, wire.tin - hyper["pivot_tin"]
    a_pm = shared.level_pm + shared.slope * away + shared.widening * missing
    order = 0.04 * wire.tin * wire.order + shared.order_shift
    place = {one.name: k for k, one in enumerate(evidence.wires)}
    return [
        replace(
            one, tin=wire.tin[0, k], s_a=wire.order[0, k], tc_k=tc[0, k], bc2_t=bc2[0, k],
            a_nm=1e-3 * (a_pm[0, k] + noise[k, 0]), site_order=order[0, k] + noise[k, 1],
        )
        for one, k in zip(simulated, (place[f"wire-{k:03d}"] for k in range(len(simulated))), strict=True)
    ]  # fmt: skip


def simulated_study(truth: str, seed: int, lots: int, wires: int) -> list[SimulatedWire]:
    """Wires of one study by the name of its kind of truth."""
    rng = np.random.default_rng([seed, lots, wires])
    if not truth.startswith("model"):
        return study(rng, lots, wires, TRUTHS[truth])
    doubled = PUBLISHED.replaced(**{name: 2.0 * PUBLISHED[name] for name in SIZES})
    return of_the_model(study(rng, lots, wires, Setting()), doubled if truth == "model-doubled" else PUBLISHED, rng)


def told(wires: list[SimulatedWire], anchor: str = "") -> list[Wire]:
    """What the model is told; with `anchor`, Tc or Bc2 of the first wire of each lot as well."""
    rng, found, seen = np.random.default_rng(len(wires)), [], set()
    for k, wire in enumerate(wires):
        keys = list(wire.contributions)
        table = Contributions(
            ("a_nm", "site_order"), tuple(source for source, _ in keys),
            np.array([wire.contributions[key] for key in keys]).T, tuple(group for _, group in keys),
        )  # fmt: skip
        extra = {}
        if anchor and wire.lot not in seen:
            if "tc" in anchor:
                extra["tc_k"] = Measured(min(wire.tc_k + 0.1 * rng.standard_normal(), 18.4), 0.1, "50 %")
            if "bc2" in anchor:
                extra["bc2_t"] = Measured(wire.bc2_t + 0.3 * rng.standard_normal(), 0.3, "50 %", 0.0)
        seen.add(wire.lot)
        name, lot, hold = f"wire-{k:03d}", f"lot-{wire.lot}", f"hold-{wire.treatment}"
        found.append(Wire(name, lot, wire.kind, hold, wire.a_nm, wire.site_order, table, **extra))
    return found


def judged(draws: JointDraws, wires: list[SimulatedWire]) -> dict[str, np.ndarray]:
    """Rank of the truth among the draws, z and u: rows of (rank, z, u) by quantity."""
    values = {
        "tin": (100.0 * draws.values["tin_fraction"], [w.tin for w in wires]),
        "Tc": (draws.values["Tc_K"], [w.tc_k for w in wires]),
        "Bc2": (draws.values["Bc2_0K_T"], [w.bc2_t for w in wires]),
    }
    pairs = [(k, k + 1) for k in range(len(wires) - 1) if wires[k].lot == wires[k + 1].lot]
    pairs += [(k, k + 3) for k in range(len(wires) - 3) if wires[k].lot == wires[k + 3].lot]
    found = {}
    for name, (x, truth) in values.items():
        t = np.array(truth)
        found[name] = _scores(x, t)
        i, j = np.array(pairs).T
        found["d" + name] = _scores(x[j] - x[i], t[j] - t[i])
    return found


def _scores(x: np.ndarray, truth: np.ndarray) -> np.ndarray:
    u = x.std(axis=1)
    return np.array([(x < truth[:, None]).mean(axis=1), (truth - x.mean(axis=1)) / u, u]).T


def campaign(
    truth: str,
    lots: int,
    wires: int,
    studies: int,
    n: int,
    anchor: str = "",
    hyper: Hyperparameters = PUBLISHED,
) -> dict[str, np.ndarray]:
    """Scores of all wires of some studies."""
    parts = []
    for seed in range(studies):
        simulated = simulated_study(truth, seed, lots, wires)
        parts.append(judged(joint_draws(told(simulated, anchor), seed=seed, n=n, hyper=hyper), simulated))
    return {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}


HEAD = (
    "| truth | studies, lots × wires | tin beyond 2 u | tin | Δtin | Tc | ΔTc | Bc2 | ΔBc2 "
    "| u of tin, Tc, Bc2 | u of Δtin, ΔTc, ΔBc2 |\n"
    "|---|---|---|---|---|---|---|---|---|---|---|"
)


def row(title: str, size: str, scores: dict[str, np.ndarray]) -> str:
    """One row: coverage at 68 and 95 % and rms z of each quantity, differences within a lot."""
    cells = [f"{100 * np.mean(np.abs(scores['tin'][:, 1]) > 2):.1f} %"]
    for name in ("tin", "dtin", "Tc", "dTc", "Bc2", "dBc2"):
        rank, z, _ = scores[name].T
        inside = [np.mean(np.abs(rank - 0.5) < half) for half in (0.34, 0.475)]
        cells.append(f"{inside[0]:.2f}/{inside[1]:.2f}, {np.sqrt(np.mean(z**2)):.2f}")
    for before in ("", "d"):
        cells.append(", ".join(f"{scores[before + name][:, 2].mean():.2f}" for name in ("tin", "Tc", "Bc2")))
    return f"| {title} | {size} | " + " | ".join(cells) + " |"


def write_tables(n: int) -> None:
    """Put the tables of docs/contributing/evidence.md there; rows of an interrupted run are not computed again."""
    of = evidence_page.fingerprint(*MADE_BY)
    kept = evidence_page.Kept("simulated", of, n)
    for name, settings in TABLES.items():
        lines = HEAD.splitlines()
        for truth, anchor, (studies, lots, wires) in settings:
            title = ", ".join(WORDS[part] for part in (truth, anchor) if part)
            size = f"{studies}, {lots} × {wires}"
            line = kept.get(title + size)
            if line is None:
                draws = DRAWS if lots * wires > WALKERS_SHORT else n
                line = row(title, size, campaign(truth, lots, wires, studies, draws, anchor))
            kept.put(title + size, line)
            lines.append(line)
            print(line, flush=True)
        evidence_page.write(name, lines, of)


def main() -> None:
    """Print rows of the table in docs/contributing/evidence.md."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--studies", type=int, default=20)
    parser.add_argument("--draws", type=int, default=500)
    parser.add_argument("--sizes", default="1x5,5x10")
    parser.add_argument("--truths", default="priors,uniform-5")
    parser.add_argument("--anchor", default="", help="tc or bc2: measured on the first wire of each lot")
    parser.add_argument("--hyper", default="", help="other values, as most_wires=1e6,widening_pm=3")
    parser.add_argument("--write", action="store_true", help="put all tables into docs/contributing/evidence.md")
    options = parser.parse_args()
    if options.write:
        write_tables(options.draws)
        return
    others = {name: float(value) for name, value in (pair.split("=") for pair in options.hyper.split(",") if pair)}
    print(HEAD)
    for truth in options.truths.split(","):
        for size in options.sizes.split(","):
            lots, wires = (int(part) for part in size.split("x"))
            n, hyper = options.draws, PUBLISHED.replaced(**others)
            scores = campaign(truth, lots, wires, options.studies, n, options.anchor, hyper)
            title = " ".join(part for part in (truth, options.anchor, options.hyper) if part)
            print(row(title, f"{options.studies}, {lots} × {wires}", scores), flush=True)


if __name__ == "__main__":
    main()
