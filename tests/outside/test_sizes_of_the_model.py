"""Sizes of the model that are called derived follow from the table of published samples, and it from its sources."""

from pathlib import Path

import numpy as np
import pytest

from tests.benchmarks import evidence_page, levels, simulated_wires
from tests.benchmarks import leave_one_laboratory_out as left_out
from xrdorder.estimates import PUBLISHED
from xrdorder.relations.published_samples import published_samples, select

# Rounding of the table of hyper-parameters, and what single samples more or less change.
ROUNDING = 0.02


@pytest.mark.parametrize("name", sorted(left_out.calibrated(published_samples())))
def test_derived_sizes_follow_from_the_samples(name: str) -> None:
    assert PUBLISHED[name] == pytest.approx(left_out.calibrated(published_samples())[name], rel=ROUNDING)
    assert PUBLISHED.entry(name).known == "derived"


def test_every_hyper_parameter_says_from_what_it_is() -> None:
    for name in PUBLISHED:
        entry = PUBLISHED.entry(name)
        assert entry.unit and len(entry.source) > 7, name


def test_order_of_doped_wires_with_the_dopants_taken_off() -> None:
    """S. M. Heald et al., Sci. Rep. 8 (2018) 4798, tables II and V: 0.30, 0.32, 0.21 of Ta, no Ti on the tin site.

    S_a = (order - 4 c s) / (4 beta) with c of the dopant and a share s of it on the tin site.
    """
    on_tin = {"restacked wire with Ta, 640 °C": 0.30, "restacked wire with Ta and Ti, 640 °C": 0.32,
              "restacked wire with Ta, 665 °C": 0.21}  # fmt: skip
    missing = []
    for s in select("site_order", "tin_at_percent"):
        taken = 0.04 * s.dopant_at_percent.get("Ta", 0.0) * on_tin.get(s.name, 0.0)
        missing.append(1.0 - (s.site_order - taken) / (0.04 * s.tin_at_percent))
    assert len(missing) == 5
    logs = np.log(missing)
    assert PUBLISHED["disorder_doped"] == pytest.approx(np.exp(logs.mean()), rel=0.05)
    assert PUBLISHED["disorder_spread"] == pytest.approx(logs.std(ddof=1), rel=0.1)


def test_pairs_of_alloys_give_the_scatter_of_wires() -> None:
    """N. Paudel et al., arXiv:2412.09514, table I: alloys at 670 and 750 °C; a pair scatters as two wires."""
    alloys = [s for s in select("Tc_K", "Bc2_T", where=lambda s: "2412.09514" in s.source)]
    by = {(s.alloy, s.treatment_c): s for s in alloys}
    pairs = [(s, by[(s.alloy, 750.0)]) for s in alloys if s.treatment_c == 670.0 and (s.alloy, 750.0) in by]
    assert len(pairs) >= 12
    tc = np.array([hot.Tc_K - cold.Tc_K for cold, hot in pairs])
    ratio = np.array([hot.Bc2_T / hot.Tc_K - cold.Bc2_T / cold.Tc_K for cold, hot in pairs])
    assert PUBLISHED["tc_scatter_k"] == pytest.approx(tc.std(ddof=1) / np.sqrt(2.0), rel=0.25)
    assert PUBLISHED["ratio_scatter"] == pytest.approx(ratio.std(ddof=1) / np.sqrt(2.0), rel=0.25)
    # hotter: more Tc, less field; one ratio would have them gain 1 T
    assert tc.mean() > 0.4 and np.mean([hot.Bc2_T - cold.Bc2_T for cold, hot in pairs]) < 0.0


# J. Zhou et al., Appl. Phys. Lett. 99 (2011) 122507, table 1 (read): a; tin, Tc, resistivity, Bc2(0.3 K).
ZHOU = {
    (1400.0, 0.52882): (24.6, 18.05, 20.9, 29.1), (1600.0, 0.52872): (24.5, 17.90, 12.7, 27.6),
    (1800.0, 0.52871): (23.3, 17.87, 31.3, 29.4), (1400.0, 0.52871): (24.6, 18.05, 42.5, 29.1),
    (1800.0, 0.52873): (23.7, 17.67, 24.9, 29.0), (1200.0, 0.52871): (24.9, 17.81, 9.48, 27.6),
}  # fmt: skip


def test_a_table_as_it_was_printed() -> None:
    samples = select("a_nm", where=lambda s: s.source.startswith("J. Zhou"))
    found = {
        (s.treatment_c, s.a_nm): (s.tin_at_percent, s.Tc_K, s.resistivity_uohm_cm, s.Bc2_T) for s in samples
    }
    assert found == ZHOU


@pytest.mark.parametrize(
    ("table", "made_by"),
    [
        ("levels", levels.MADE_BY),
        ("published", left_out.MADE_BY),
        ("simulated", simulated_wires.MADE_BY),
        ("anchored", simulated_wires.MADE_BY),
    ],
)
def test_tables_are_of_this_model(table: str, made_by: tuple[Path, ...]) -> None:
    """``python -m tests.benchmarks.leave_one_laboratory_out --write``, and ``simulated_wires``, write them anew."""
    assert evidence_page.made_by(table) == evidence_page.fingerprint(*made_by)


def test_a_fingerprint_sees_numbers_and_no_comments(tmp_path: Path) -> None:
    prints = []
    for k, code in enumerate(("x = 1  # one\n", '"""Words."""\nx = 1\n', "x = 2\n")):
        (tmp_path / f"{k}.py").write_text(code)
        prints.append(evidence_page.fingerprint(tmp_path / f"{k}.py"))
    assert prints[0] == prints[1] != prints[2]


def test_the_page_shows_what_the_script_finds() -> None:
    """Ten samples by their lattice, with few draws: the row of the page within what 500 draws leave open."""
    question = left_out.questions()[0]
    old, new = evidence_page.published()[question.title], np.mean(left_out.answered(question, 500, {}).scores, axis=0)
    assert old.inside_68 == pytest.approx(new[0], abs=0.11)  # one sample of ten
    assert old.inside_95 == pytest.approx(new[1], abs=0.11)
    assert old.width == pytest.approx(new[2], rel=0.2)  # 500 draws know a quantile to a tenth
    assert old.bias == pytest.approx(new[3], abs=0.1)


@pytest.mark.slow
def test_the_whole_page_is_current() -> None:
    rows = evidence_page.published()
    for fresh in left_out.answers(500):
        old, new = rows[fresh.title], np.mean(np.array(fresh.scores, dtype=float), axis=0)
        assert old.inside_68 == pytest.approx(new[0], abs=max(0.11, 2.1 / len(fresh.scores))), fresh.title
        assert old.width == pytest.approx(new[2], rel=0.25), fresh.title


def test_every_coverage_is_within_what_chance_leaves_open() -> None:
    """Binomial limits of the number that samples of which one laboratory has many are worth; no share is left out."""
    rows = evidence_page.published()
    assert len(rows) == len(left_out.questions()) + 1
    for title, row in rows.items():
        assert row.of_68_clustered[0] <= row.inside_68 <= row.of_68_clustered[1], title
        assert row.of_95_clustered[0] <= row.inside_95 <= row.of_95_clustered[1], title


def test_correlated_samples_are_worth_less() -> None:
    """L. Kish's design effect, 1 + (m - 1) times the correlation, of m samples a laboratory."""
    assert left_out.effective(["a"] * 30, 0.0) == 30 and left_out.effective(["a"] * 30, 1.0) == 1
    assert left_out.effective([*"aaaaabbbbb"], 0.5) == round(10 / 3.0)


def test_samples_of_one_laboratory_are_as_alike_as_they_were_made() -> None:
    """How often a laboratory is right: beta distribution of mean 0.68, whose correlation is 1 / (a + b + 1) = 0.3."""
    rng, total = np.random.default_rng(0), 1.0 / 0.3 - 1.0
    right = rng.random((200, 6)) < rng.beta(0.68 * total, 0.32 * total, (200, 1))
    scores = [left_out.Score(bool(one), True, 2.0, 0.0, 0.0) for one in right.ravel()]
    made = left_out.Answer("made", "K", scores, [str(k) for k in range(200) for _ in range(6)])
    assert left_out.alike([made], 0) == pytest.approx(0.3, abs=0.08)  # 200 laboratories know it to 0.04


def test_what_must_hold_stands_on_the_page() -> None:
    """Limits that were set before the model was built; the widths are those of the last run on the page."""
    rows = evidence_page.published()
    saturated, by_tin = rows["a → Tc"], rows["tin → Tc, bulk and wire"]
    assert saturated.inside_68 >= 0.5 and saturated.inside_95 >= 0.9 and saturated.width <= 1.6
    assert by_tin.of_68[0] <= by_tin.inside_68 <= by_tin.of_68[1]
    assert by_tin.of_95[0] <= by_tin.inside_95 <= by_tin.of_95[1] and by_tin.width <= 2.2
    assert rows["Tc → Bc2, doped"].width <= 4.0 and rows["tin → Bc2, doped"].width <= 4.4


@pytest.mark.slow
def test_spreads_of_bc2_over_tc_are_those_of_the_samples() -> None:
    """By restricted likelihood: what the model gives to lots, to the study and to wires is likely (95 %)."""
    doped, undoped = levels.restricted(doped=True), levels.restricted(doped=False)
    # of a lot of an unknown laboratory: lots and laboratories together
    for found, name in ((doped, "u_ratio_doped"), (undoped, "u_ratio_undoped")):
        size = found.sizes()
        assert PUBLISHED[name] == pytest.approx(np.hypot(size["laboratory"], size["lot"]), rel=0.1)
    assert doped.lost("change by laboratory", PUBLISHED["u_ratio_by_tc"]) < levels.NINE_FIVE
    assert doped.lost("change by laboratory", 0.01) > levels.NINE_FIVE > doped.lost("change by lot", 0.01)
    # 0.24 T is how well a published field is read: rounded to 0.1 T, from transitions of 1 T and more
    read = np.hypot(PUBLISHED["ratio_scatter"], 0.24 / 17.5)
    assert doped.lost("sample", float(read)) < levels.RANGE
    assert PUBLISHED["ratio_scatter_bulk"] == pytest.approx(undoped.sizes()["sample"], rel=0.05)


@pytest.mark.slow
@pytest.mark.parametrize("row", [("priors-5", "", (30, 1, 5)), ("priors-5", "tc", (30, 1, 8))])
def test_simulated_rows_are_current(row: tuple[str, str, tuple[int, int, int]]) -> None:
    """Two rows once more, with the seeds of the page: the same but for rounding of another machine."""
    truth, anchor, (studies, lots, wires) = row
    title = ", ".join(simulated_wires.WORDS[part] for part in (truth, anchor) if part)
    size = f"{studies}, {lots} × {wires}"
    lines = evidence_page.rows("anchored" if anchor else "simulated")
    old = evidence_page.numbers(next(line for line in lines if line.startswith(f"| {title} | {size} |")))
    scores = simulated_wires.campaign(truth, lots, wires, studies, 500, anchor)
    new = evidence_page.numbers(simulated_wires.row(title, size, scores))
    assert old == pytest.approx(new, rel=0.05, abs=0.05) and old[0] == pytest.approx(new[0], abs=2.0)


def test_what_must_hold_of_simulated_wires_stands_on_the_page() -> None:
    """Tin beyond two u in 8 % of wires at most, rms z of tin and of differences 1.3 at most: usual truths, and 5 pm."""
    for line in evidence_page.rows("simulated")[2:]:
        title, size, beyond, tin, d_tin, _, d_tc, _, d_bc2, *_ = (cell.strip() for cell in line.strip("|").split("|"))
        if title in ("usual, drawn", "usual, 5 pm", "uniform, 5 pm", "the model's own"):
            assert float(beyond.split()[0]) <= 8.0, (title, size)
            for cell in (tin, d_tin, d_tc, d_bc2):
                assert float(cell.split()[1]) <= 1.3, (title, size)
    by_tc, by_bc2 = (line.strip("|").split("|") for line in evidence_page.rows("anchored")[2:])
    assert "one Tc" in by_tc[0] and evidence_page.numbers(by_tc[-2])[1] <= 0.45  # u of Tc, K
    assert "one Bc2" in by_bc2[0] and evidence_page.numbers(by_bc2[-2])[2] <= 1.0  # u of Bc2, T
