"""How do the estimates hold against samples of a laboratory that the model has never heard of?

    python -m tests.benchmarks.leave_one_laboratory_out [--draws 1000] [--write]

Every published sample is estimated on its own, with the sizes of the model (`calibrated`) taken from the samples of
all other laboratories, populations included. Prints the table of docs/contributing/evidence.md; `--write` puts it
there (five minutes of one core; rows that were found before an interruption are not computed again).
"""

import argparse
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import numpy as np
from scipy.stats import binom

from tests.benchmarks import evidence_page
from xrdorder.estimates import PUBLISHED, Hyperparameters, JointDraws, Measured, Wire, joint_draws
from xrdorder.relations import relation
from xrdorder.relations.published_samples import PublishedSample, select
from xrdorder.uncertainty import Contributions

MADE_BY = (evidence_page.SAMPLES, Path(__file__))
"""What the table is made by, beside the model."""

# Where a source gives no uncertainty: half of the last digit of most tables (nm); microanalysis; widths of transitions.
U_LATTICE_NM, U_TIN, U_TC_K, U_BC2_T = 5e-5, 0.5, 0.1, 0.5
SELECTED_BY_LOW_READING = 0.5  # at.%; judged, see `tin_offset` of the hyper-parameters
MILLED = "hardly annealed"  # resistivity of 140 and more by milling: outside every relation

_LINE = relation("godeke-2006-measured").inverse
_STEP = relation("godeke-2006-boltzmann")
_RESISTIVITY = relation("flukiger-1987-resistivity")


# --- sizes of the model by the samples of some laboratories ---


def by_group(pairs: Iterable[tuple[object, float]]) -> dict[object, list[float]]:
    groups: dict[object, list[float]] = {}
    for key, value in pairs:
        groups.setdefault(key, []).append(value)
    return groups


def offsets_pm(samples: Sequence[PublishedSample]) -> dict[object, list[float]]:
    """Lattice parameter less that of the published line at the tin measured, by laboratory."""
    chosen = [s for s in samples if "lattice" in s.judges and s.given("tin_at_percent")]
    return by_group((s.laboratory, 1e3 * (s.a_nm - float(_LINE(0.01 * s.tin_at_percent)))) for s in chosen)


def tin_short(samples: Sequence[PublishedSample]) -> dict[object, list[float]]:
    """Tin that the step needs for the measured Tc, less the tin measured (at.%); below 24.2, where Tc tells."""

    def short(s: PublishedSample) -> float:
        tc = s.Tc_K - (PUBLISHED["tantalum_k"] if "Ta" in s.dopants else 0.0)
        return 100.0 * float(_STEP.inverse(min(tc, 18.15))) - s.tin_at_percent

    chosen = [s for s in samples if "tin" in s.judges and s.tin_at_percent < 24.2]
    return by_group(((s.laboratory, s.form, s.undoped), short(s)) for s in chosen)


def ratios(samples: Sequence[PublishedSample], *, doped: bool) -> dict[object, list[float]]:
    """Bc2(0) over Tc, by laboratory."""
    return by_group((s.laboratory, s.Bc2_T / s.Tc_K) for s in of_field(samples, doped=doped))


def of_field(samples: Sequence[PublishedSample], *, doped: bool) -> list[PublishedSample]:
    return [
        s for s in samples
        if "field" in s.judges and s.given("Tc_K", "Bc2_T") and s.undoped != doped
        and s.Bc2_at_k < 0.5 and MILLED not in s.name
    ]  # fmt: skip


def order_by_resistivity(s: PublishedSample) -> float:
    """Site order of undoped A15 from its resistivity, 147 (1 - S^4) microohm cm."""
    return float(_RESISTIVITY.inverse(s.resistivity_uohm_cm))


def missing_order(samples: Sequence[PublishedSample]) -> list[float]:
    """1 - S_a of undoped bulk, from resistivity and tin."""
    chosen = [
        s for s in samples if "lattice" in s.judges and s.form == "bulk" and s.given("resistivity_uohm_cm")
    ]
    return [1.0 - order_by_resistivity(s) / (0.04 * min(s.tin_at_percent, 25.0)) for s in chosen]


def tc_within(samples: Sequence[PublishedSample]) -> list[float]:
    """Scatter of Tc among the wires of a series at one treatment (without such, at all), five and more."""
    wires = [s for s in samples if s.form == "wire" and s.given("Tc_K") and not s.irradiated]
    groups = by_group(((s.source, s.treatment_c), s.Tc_K) for s in wires)
    groups = {k: v for k, v in groups.items() if len(v) >= 5} or by_group((s.source, s.Tc_K) for s in wires)
    return [float(np.std(v, ddof=1)) for v in groups.values() if len(v) >= 5]


def deficits(samples: Sequence[PublishedSample]) -> list[float]:
    """How much tin bulk and wires lack to the edge of the field, as measured (at.%); a quarter and more."""
    chosen = [s for s in samples if "tin" in s.judges and s.form in ("bulk", "wire")]
    edge = 0.5 * (PUBLISHED["tin_edge_low"] + PUBLISHED["tin_edge_high"])
    return [max(edge - s.tin_at_percent, 0.25) for s in chosen]


def _means(groups: dict[object, list[float]]) -> np.ndarray:
    return np.array([np.mean(values) for values in groups.values()])


def random_effect(groups: dict[object, list[float]]) -> tuple[float, float]:
    """Mean of laboratories, one vote each, and standard deviation of one sample of another laboratory.

    Variance within laboratories plus that between them, from which goes what the mean of few samples adds by chance.
    """
    members = [np.array(values) for values in groups.values()]
    freedom = sum(len(values) - 1 for values in members)
    within = sum(float(np.sum((values - values.mean()) ** 2)) for values in members) / freedom
    between = float(np.var(_means(groups), ddof=1)) - np.mean([within / len(values) for values in members])
    return float(_means(groups).mean()), math.sqrt(within + max(float(between), 0.0))


def calibrated(samples: Sequence[PublishedSample]) -> dict[str, float]:
    """Sizes of the model that published samples decide; one vote a laboratory or group."""
    values: dict[str, float] = {}
    values["scale_pm"] = float(
        np.std([*_means(offsets_pm(samples)), 0.0], ddof=1)
    )  # the line's own laboratory counts
    short = _means(tin_short(samples))
    if len(short) > 1:
        all_in_all = float(np.mean(short)) - SELECTED_BY_LOW_READING
        values |= {"tin_offset": 0.75 * all_in_all, "probe_bias": -0.25 * all_in_all}
        values["u_tin_offset"] = float(np.std(short, ddof=1))
    for name, doped in (("doped", True), ("undoped", False)):
        values[f"ratio_{name}"], values[f"u_ratio_{name}"] = random_effect(ratios(samples, doped=doped))
    missing = missing_order(samples)
    values["disorder_bulk"] = max(float(np.mean(missing)), 0.010)
    values["tc_offset_k"] = float(np.mean(tc_within(samples)))
    lacking = np.log(deficits(samples))
    values |= {
        "tin_deficit": math.exp(np.mean(lacking)),
        "tin_deficit_spread": float(np.std(lacking, ddof=1)),
    }
    return values


def hyper_without(laboratory: str) -> Hyperparameters:
    """Table of hyper-parameters that has not seen a laboratory."""
    return PUBLISHED.replaced(**calibrated(select(without=laboratory)))


# --- samples as wires ---

Estimated = Callable[[PublishedSample], Wire | list[Wire]]
RHO = "resistivity_uohm_cm"


def kind_of(s: PublishedSample) -> str:
    if s.undoped:
        return "bulk" if s.form == "bulk" else "binary"
    return "Ta" if "Ta" in s.dopants else "Ti" if s.dopants == ("Ti",) else "any"


def u_or(value: float, usual: float) -> float:
    return value if math.isfinite(value) else usual


def by_lattice(s: PublishedSample, order: float = math.nan, u_order: float = 0.02, **more: object) -> Wire:
    rows = [("a_nm", u_or(s.u_a_nm, U_LATTICE_NM), 0.0)] + (
        [("site_order", 0.0, u_order)] if math.isfinite(order) else []
    )
    table = Contributions(
        tuple(name for name, *_ in rows), ("lattice", "order"), np.array([row[1:] for row in rows]), ("", "")
    )
    return Wire(s.name, kind=kind_of(s), a_nm=s.a_nm, site_order=order, contributions=table, **more)


def by_lattice_and_resistivity(s: PublishedSample) -> Wire:
    return by_lattice(s, order_by_resistivity(s))


def by_lattice_and_tin(s: PublishedSample) -> Wire:
    return replace(by_lattice(s), tin_at_percent=measured_tin(s))


def measured_tc(s: PublishedSample) -> Measured:
    return Measured(s.Tc_K, u_or(s.u_Tc_K, U_TC_K), s.Tc_criterion or "as published")


def measured_field(s: PublishedSample) -> Measured:
    return Measured(s.Bc2_T, U_BC2_T, "as published", s.Bc2_at_k)


def measured_tin(s: PublishedSample) -> Measured:
    return Measured(s.tin_at_percent, u_or(s.u_tin_at_percent, U_TIN))


def by_tin(s: PublishedSample) -> Wire:
    return Wire(s.name, kind=kind_of(s), tin_at_percent=measured_tin(s))


def by_tc(s: PublishedSample) -> Wire:
    return Wire(s.name, kind=kind_of(s), tc_k=measured_tc(s))


def and_of_its_lot(
    make: Callable[[PublishedSample], Wire], **anchor: Callable[[PublishedSample], Measured]
) -> Estimated:
    """The sample and the first one of its lot, on which something was measured."""

    def wires(s: PublishedSample) -> list[Wire]:
        first = lot_of(s)[0]
        known = {name: measure(first) for name, measure in anchor.items()}
        return [replace(make(s), lot="one"), replace(make(first), name="first", lot="one", **known)]

    return wires


def lot_of(s: PublishedSample) -> list[PublishedSample]:
    """Samples that share its wire, alloy or powder mix and have Tc and Bc2; none where it is a lot of its own."""
    known = select("Tc_K", "Bc2_T", where=lambda o: bool(o.lot) and MILLED not in o.name)
    return [o for o in known if (o.source, o.lot) == (s.source, s.lot)]


def tc_of(draws: JointDraws, s: PublishedSample) -> tuple[np.ndarray, float]:
    return draws.of(s.name, "Tc_K"), s.Tc_K


def field_of(draws: JointDraws, s: PublishedSample) -> tuple[np.ndarray, float]:
    return draws.field(s.Bc2_at_k)[draws.samples.index(s.name)], s.Bc2_T


def reading_of(draws: JointDraws, s: PublishedSample) -> tuple[np.ndarray, float]:
    """Tin as a microprobe reads it, its noise included."""
    true, bias = 100.0 * draws.of(s.name, "tin_fraction"), draws.shared["bias of the microprobe"]
    noise = np.random.default_rng(0).standard_normal(true.size)
    return true + bias + u_or(s.u_tin_at_percent, U_TIN) * noise, s.tin_at_percent


class Question(NamedTuple):
    """One row of the table."""

    title: str
    unit: str
    samples: Sequence[PublishedSample]
    wires: Estimated
    answer: Callable[[JointDraws, PublishedSample], tuple[np.ndarray, float]]


def questions() -> list[Question]:
    lattice = select("a_nm", "Tc_K", judges="lattice")
    tin = select("tin_at_percent", "Tc_K", judges="tin", where=lambda s: s.tin_at_percent < 26.0)
    solid = [s for s in tin if s.form != "film"]
    field = select("Tc_K", "Bc2_T", judges="field", where=lambda s: MILLED not in s.name)

    def having(samples: Sequence[PublishedSample], *names: str, of_field: bool = False, follows: bool = False,
               undoped: bool | None = None) -> list[PublishedSample]:  # fmt: skip
        return [s for s in samples if s.given(*names) and (s in field or not of_field)
                and (not follows or s in lot_of(s)[1:]) and undoped in (None, s.undoped)]  # fmt: skip

    probed = [s for s in having(lattice, "tin_at_percent") if s.tin_by != "nominal"]
    ordered = having(lattice, "S_a")
    following = having(lattice, follows=True)
    found = [
        Question("a → Tc", "K", lattice, by_lattice, tc_of),
        Question("a and order → Tc", "K", ordered,
                 lambda s: by_lattice(s, 0.04 * s.tin_at_percent * s.S_a, s.u_S_a), tc_of),
        Question("a and order by resistivity → Tc", "K", having(lattice, RHO), by_lattice_and_resistivity, tc_of),
        Question("a and tin → Tc", "K", probed, by_lattice_and_tin, tc_of),
        Question("a, and Tc of another of its lot → Tc", "K", following,
                 and_of_its_lot(by_lattice, tc_k=measured_tc), tc_of),
        Question("tin → Tc, bulk and wire", "K", solid, by_tin, tc_of),
        Question("tin, and Tc of another of its lot → Tc", "K", having(solid, follows=True),
                 and_of_its_lot(by_tin, tc_k=measured_tc), tc_of),
        Question("tin → Tc, films", "K", [s for s in tin if s.form == "film"], by_tin, tc_of),
        Question("a → tin", "at.%", probed, by_lattice, reading_of),
        Question("a and order by resistivity → tin", "at.%", having(probed, RHO),
                 by_lattice_and_resistivity, reading_of),
        Question("a, and tin of another of its lot → tin", "at.%", having(probed, follows=True),
                 and_of_its_lot(by_lattice, tin_at_percent=measured_tin), reading_of),
        Question("a → Bc2", "T", having(lattice, of_field=True), by_lattice, field_of),
        Question("a and order by resistivity → Bc2", "T", having(lattice, RHO, of_field=True),
                 by_lattice_and_resistivity, field_of),
        Question("a and tin → Bc2", "T", having(probed, of_field=True), by_lattice_and_tin, field_of),
        Question("a, and Bc2 of another of its lot → Bc2", "T", having(following, of_field=True),
                 and_of_its_lot(by_lattice, bc2_t=measured_field), field_of),
    ]
    for words, undoped in (("doped", False), ("undoped", True)):
        solid_ones, ones = having(solid, of_field=True, undoped=undoped), having(field, undoped=undoped)
        found += [
            Question(f"tin → Bc2, {words}", "T", solid_ones, by_tin, field_of),
            Question(f"Tc → Bc2, {words}", "T", ones, by_tc, field_of),
            Question(f"Tc, and Bc2 of another of its lot → Bc2, {words}", "T", having(ones, follows=True),
                     and_of_its_lot(by_tc, bc2_t=measured_field), field_of),
        ]
    return found  # fmt: skip


# --- scores ---


class Score(NamedTuple):
    """Of one sample: inside the 68 and the 95 % interval, width of the former, measured less median, CRPS."""

    inside_68: bool
    inside_95: bool
    width: float
    error: float
    crps: float


def score(draws: np.ndarray, truth: float) -> Score:
    low, high, lowest, highest, middle = np.quantile(draws, [0.16, 0.84, 0.025, 0.975, 0.5])
    x = np.sort(draws)
    weights = 2.0 * np.arange(1, x.size + 1) - x.size - 1.0
    spread = float(np.sum(weights * x)) / x.size**2  # half the mean distance of two draws
    return Score(
        bool(low <= truth <= high), bool(lowest <= truth <= highest), float(high - low), truth - float(middle),
        float(np.mean(np.abs(x - truth))) - spread,
    )  # fmt: skip


def scores(question: Question, n: int, tables: dict[str, Hyperparameters]) -> list[Score]:
    found = []
    for s in question.samples:
        if s.laboratory not in tables:
            tables[s.laboratory] = hyper_without(s.laboratory)
        wires = question.wires(s)
        draws = joint_draws(wires if isinstance(wires, list) else [wires], n=n, hyper=tables[s.laboratory])
        found.append(score(*question.answer(draws, s)))
    return found


def baseline(samples: Sequence[PublishedSample]) -> list[Score]:
    """The other laboratories' Tc, without any lattice: mean, one vote a laboratory, and scatter."""
    z = np.random.default_rng(0).standard_normal(4000)
    found = []
    for s in samples:
        others = [o for o in samples if o.laboratory != s.laboratory]
        mean = _means(by_group((o.laboratory, o.Tc_K) for o in others)).mean()
        found.append(score(mean + math.hypot(np.std([o.Tc_K for o in others], ddof=1), 0.1) * z, s.Tc_K))
    return found


class Answer(NamedTuple):
    """Scores of a question, and the laboratory of each."""

    title: str
    unit: str
    scores: list[Score]
    laboratories: list[str]

    def inside(self, share: int) -> dict[object, list[float]]:
        """Ones and zeros by laboratory: whether the 68 (0) or the 95 % interval (1) holds the measured value."""
        return by_group(zip(self.laboratories, (float(one[share]) for one in self.scores), strict=True))


def answered(question: Question, n: int, tables: dict[str, Hyperparameters]) -> Answer:
    laboratories = [s.laboratory for s in question.samples]
    return Answer(question.title, question.unit, scores(question, n, tables), laboratories)


def alike(answers: Sequence[Answer], share: int) -> float:
    """How alike samples of one laboratory are in being inside: intraclass correlation, pooled over the questions.

    By the analysis of variance: mean squares between and within laboratories, about the share of each question.
    Questions that one laboratory answers, or all samples alike, say nothing.
    """
    between = within = of_laboratories = of_samples = size = 0.0
    for answer in answers:
        groups = [np.array(values) for values in answer.inside(share).values()]
        every = np.concatenate(groups)
        if len(groups) < 2 or every.std() == 0.0:
            continue
        between += sum(len(values) * float(values.mean() - every.mean()) ** 2 for values in groups)
        within += sum(float(np.sum((values - values.mean()) ** 2)) for values in groups)
        of_laboratories, of_samples = of_laboratories + len(groups) - 1, of_samples + len(every) - len(groups)
        size += len(every) - sum(len(values) ** 2 for values in groups) / len(every)
    between, within, size = between / of_laboratories, within / of_samples, size / of_laboratories
    return max(0.0, (between - within) / (between + (size - 1.0) * within))


def effective(laboratories: Sequence[str], correlation: float) -> int:
    """How many independent samples these are worth: their number over the design effect (L. Kish, from memory)."""
    members = np.unique(laboratories, return_counts=True)[1]
    n = len(laboratories)
    return max(1, round(n / (1.0 + (float(np.sum(members**2)) / n - 1.0) * correlation)))


def limits(n: int, share: float) -> tuple[float, float]:
    """Between which shares a coverage of so many independent samples lies by chance, 95 % (binomial)."""
    low, high = binom.ppf([0.025, 0.975], n, share) / n
    return float(low), float(high)


def row(answer: Answer, correlations: Sequence[float]) -> str:
    n, mean = len(answer.scores), np.mean(np.array(answer.scores, dtype=float), axis=0)
    by = answer.inside(0)
    cells = [answer.title, f"{n} ({len(by)})"]
    for k, share in enumerate((0.68, 0.95)):
        worth = effective(answer.laboratories, correlations[k])
        one, other = limits(n, share), limits(worth, share)
        cells.append(f"{mean[k]:.2f} ({one[0]:.2f}-{one[1]:.2f}; of {worth}: {other[0]:.2f}-{other[1]:.2f})")
    cells += [f"{mean[2]:.2f} {answer.unit}", f"{mean[3]:+.2f}", f"{mean[4]:.2f}"]
    votes = limits(len(by), 0.68)
    return f"| {' | '.join(cells)} | {_means(by).mean():.2f} ({votes[0]:.2f}-{votes[1]:.2f}) |"


def answers(n: int, kept: evidence_page.Kept | None = None) -> list[Answer]:
    """Answers to all questions, and the baseline behind the first."""
    found: list[Answer] = []
    tables: dict[str, Hyperparameters] = {}
    for question in questions():
        one = kept.get(question.title) if kept else None
        answer = Answer(*one[:2], [Score(*s) for s in one[2]], one[3]) if one else answered(question, n, tables)
        if kept and not one:
            kept.put(question.title, answer)
        found.append(answer)
        if len(found) == 1:
            scored = baseline(question.samples)
            found.append(Answer("no lattice: Tc of the other laboratories", "K", scored, answer.laboratories))
    return found


def table(found: Sequence[Answer]) -> list[str]:
    """Rows of docs/contributing/evidence.md."""
    correlations = [alike(found, share) for share in (0, 1)]
    lines = [
        "Correlation within a laboratory: {:.2f} of being inside 68 %, {:.2f} of 95 %.".format(*correlations),
        "",
        "| from → what | samples (laboratories) "
        "| inside 68 % (by chance; clustered) | inside 95 % (the same) "
        "| width of 68 % | bias | CRPS | inside 68 %, one vote a laboratory (by chance) |",
        "|---|---|---|---|---|---|---|---|",
    ]
    return lines + [row(answer, correlations) for answer in found]


def main() -> None:
    """Print the table, or write it into the page."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--draws", type=int, default=1000)
    parser.add_argument("--write", action="store_true")
    options = parser.parse_args()
    of = evidence_page.fingerprint(*MADE_BY)
    lines = table(answers(options.draws, evidence_page.Kept("published", of, options.draws)))
    print("\n".join(lines))
    if options.write:
        evidence_page.write("published", lines, of)


if __name__ == "__main__":
    main()
