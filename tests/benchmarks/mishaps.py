"""What may be wrong with a scan, or with what is said about it: one function a kind, strength drawn at random.

Each takes a specimen and returns how it was really measured and what is told about it. The truth is that of the
specimen, free of whatever went wrong. Some kinds are no mishaps, but specimens that are as they should be and unlike
those of `clean`: wires without niobium, domains of many sizes.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from tests.generator import (
    FOREIGN_A_NM,
    Dopant,
    FewGrains,
    Fibre,
    InstrumentTruth,
    LognormalSizes,
    MixedSizes,
    PhaseTruth,
    Roughness,
    SampleTruth,
    defects,
)
from tests.generator.distributions import LatticeDistribution
from tests.generator.stray import copper_k_beta, tungsten_l_alpha

Array = np.ndarray
Rng = np.random.Generator
LENGTH_MM, SLIT_DEG = 20.0, 0.5
STEP_DEG = 0.01313  # of a detector that counts many angles at once, pixels over radius: no number of two decimals

# Elastic constants of Nb3Sn at room temperature in GPa: K. R. Keller, J. J. Hanak, Phys. Rev. 154 (1967) 628, from
# memory.
_C11, _C12, _C44 = 254.0, 112.0, 40.0
_S11 = (_C11 + _C12) / ((_C11 - _C12) * (_C11 + 2.0 * _C12))
_S12 = -_C12 / ((_C11 - _C12) * (_C11 + 2.0 * _C12))
_S0 = _S11 - _S12 - 0.5 / _C44
# Strain along the normal of a surface under equal stress in its plane is 2 σ (s12 + S0 Γ) by Reuss, Γ = 0 for (h00) and
# 1/5 on average; by Voigt it is alike for all grains. Half of Reuss is the usual mean.
H00_OVER_MEAN = 0.5 * (_S12 / (_S12 + 0.2 * _S0) - 1.0)


def _poisson(means: Array, seed: int) -> Array:
    return defects.counted(means, seed)


@dataclass(frozen=True, eq=False)
class Scan:
    """How it was measured (`sample`, `instrument`, then `before`, `count` and `after`), and what is told.

    A laboratory that does something to each of its scans does it to that of the standard as well: `standard_too`.
    `step_deg` replaces the usual step, `standard_domain_size_nm` endless domains of the standard; `asked` are further
    options of the fit.
    """

    sample: SampleTruth
    instrument: InstrumentTruth
    how: str = ""
    before: Callable[[Array, Array], Array] = lambda angles, means: means
    count: Callable[[Array, int], Array] = _poisson
    after: Callable[[Array, Array], tuple[Array, Array]] = lambda angles, counts: (angles, counts)
    standard_too: bool = False
    step_deg: float | None = None
    standard_domain_size_nm: float = float("inf")
    asked: Mapping[str, Any] = field(default_factory=dict)
    told_slit_deg: float | None = None
    told_length_mm: float = LENGTH_MM
    calibrated_with: InstrumentTruth | None = None
    told_undoped: bool = True


Kind = Callable[[Rng, SampleTruth, InstrumentTruth], Scan]


def _log(rng: Rng, low: float, high: float) -> float:
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def clean(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    return Scan(sample, instrument)


def wrong_slit(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    slits = (0.25, 0.5, 1.0, 2.0)
    true, told = rng.choice(slits, 2, replace=False)
    length = float(rng.uniform(6.0, 20.0))
    how = f"{true} degrees, told {told}; {length:.1f} mm"
    short = replace(sample, specimen_length_mm=length)
    return Scan(
        short, replace(instrument, divergence_deg=float(true)), how, told_slit_deg=float(told), told_length_mm=length
    )


def wrong_length(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    length, factor = float(rng.uniform(6.0, 20.0)), _log(rng, 1.15, 2.0) ** rng.choice([-1, 1])
    how = f"{length:.1f} mm, told {length * factor:.1f}; 1 degree"
    wide = replace(instrument, divergence_deg=1.0)
    short = replace(sample, specimen_length_mm=length)
    return Scan(short, wide, how, told_slit_deg=1.0, told_length_mm=length * factor)


def counts_per_second(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    seconds, decimals = _log(rng, 0.5, 60.0), [None, 0, 1, 2, 3][rng.integers(5)]
    return Scan(
        sample, instrument, f"{seconds:.2f} s, {decimals} decimals",
        after=lambda angles, counts: (angles, defects.per_second(counts, seconds, decimals)),
    )  # fmt: skip


def smoothed(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    points, mean, whole = int(2 * rng.integers(1, 6) + 1), bool(rng.integers(2)), bool(rng.integers(2))

    def after(angles: Array, counts: Array) -> tuple[Array, Array]:
        smooth = defects.moving_average(counts, points) if mean else defects.savitzky_golay(counts, points + 2)
        smooth = np.maximum(smooth, 0.0)
        return angles, np.round(smooth) if whole else smooth

    return Scan(sample, instrument, f"{points} points, mean {mean}, whole numbers {whole}", after=after)


def tantalum_not_told(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    content = float(rng.uniform(0.005, 0.04))
    room = 0.99 * sample.occupancy()["2a"]["Nb"] / (4.0 * content)
    share = float(min(rng.uniform(0.1, 0.9), room))
    alloyed = replace(sample, dopants=(Dopant("Ta", content, share),))
    how = f"{100 * content:.1f} at.% Ta, {share:.2f} of it on tin sites"
    return Scan(alloyed, instrument, how, told_undoped=False)


def section_as_powder(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    """Grains still in the composite: the mean of d shifts, (h00) and (hhh) not alike; niobium has its own strain."""
    strain = _log(rng, 2e-4, 1.5e-3) * float(rng.choice([-1.0, 1.0]))
    shift = strain * H00_OVER_MEAN * float(rng.uniform(0.5, 1.5))
    niobium = float(rng.uniform(-1e-3, 1e-3))
    others = tuple(replace(one, a_nm=one.a_nm * (1.0 + niobium)) if one.name == "nb" else one for one in sample.others)
    strained = replace(sample, a_nm=sample.lattice_nm * (1.0 + strain), elastic_shift=shift, others=others)
    return Scan(strained, instrument, f"strain {strain:+.1e}, (h00) {shift:+.1e} more; niobium {niobium:+.1e}")


def hot_pixels(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    number, height, seed = int(rng.integers(1, 31)), _log(rng, 0.005, 1.0), int(rng.integers(2**31))
    return Scan(
        sample, instrument, f"{number} of {height:.3f}",
        after=lambda angles, counts: (
            angles, defects.hot_pixels(counts, np.random.default_rng(seed), number, height)
        ),
    )  # fmt: skip


def dead_pixels(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    number, seed = int(rng.integers(1, 31)), int(rng.integers(2**31))
    return Scan(
        sample, instrument, f"{number}",
        after=lambda angles, counts: (angles, defects.dead_pixels(counts, np.random.default_rng(seed), number)),
    )  # fmt: skip


def beam_trip(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    start, width, left = float(rng.uniform(20.0, 120.0)), _log(rng, 0.2, 20.0), float(rng.uniform(0.0, 0.9))
    return Scan(
        sample, instrument, f"{start:.2f} + {width:.2f} degrees, {left:.2f} left",
        lambda angles, means: defects.beam_trip(angles, means, start, start + width, left),
    )  # fmt: skip


def drift(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    change = float(rng.uniform(-0.3, 0.3))
    return Scan(sample, instrument, f"{change:+.2f}", lambda angles, means: defects.drift(angles, means, change))


def missing_range(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    start, width = float(rng.uniform(20.0, 110.0)), _log(rng, 1.0, 40.0)
    return Scan(
        sample, instrument, f"{start:.2f} + {width:.2f} degrees",
        after=lambda angles, counts: defects.missing_range(angles, counts, start, start + width),
    )  # fmt: skip


def fewer_counts(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    factor = _log(rng, 5.0, 30.0)
    return Scan(sample, instrument, f"1/{factor:.1f}", lambda angles, means: defects.fewer(means, factor))


def amorphous_hump(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    height, centre, fwhm = _log(rng, 0.03, 1.0), float(rng.uniform(20.0, 40.0)), float(rng.uniform(4.0, 12.0))
    return Scan(
        sample, instrument, f"{height:.2f} at {centre:.1f}, {fwhm:.1f} wide",
        lambda angles, means: defects.amorphous_hump(angles, means, height, centre, fwhm),
    )  # fmt: skip


def foreign_phase(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    name = str(rng.choice(sorted(FOREIGN_A_NM)))
    weight, size = _log(rng, 0.003, 0.2), _log(rng, 15.0, 200.0)
    a_nm = FOREIGN_A_NM[name] * (1.0 + float(rng.normal(0.0, 2e-4)))
    more = replace(sample, others=(*sample.others, PhaseTruth(name, weight, a_nm, size)))
    return Scan(more, instrument, f"{name} {100 * weight:.1f} %, {size:.0f} nm")


def bare_lines(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    number, fwhm = int(rng.integers(1, 9)), float(rng.uniform(0.08, 0.4))
    where, heights = rng.uniform(20.0, 100.0, number), np.array([_log(rng, 0.003, 0.5) for _ in range(number)])
    told = ", ".join(f"{x:.2f}: {h:.3f}" for x, h in zip(where, heights, strict=True))
    return Scan(
        sample, instrument, f"{told}; {fwhm:.2f} wide",
        lambda angles, means: defects.foreign_lines(angles, means, where, heights, fwhm),
    )  # fmt: skip


def stray_lines(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    beta, tungsten = _log(rng, 5e-4, 0.05), _log(rng, 5e-4, 0.05)
    stray = replace(instrument, stray=(copper_k_beta(beta), tungsten_l_alpha(tungsten)))
    return Scan(sample, stray, f"K-beta {beta:.4f}, W {tungsten:.4f}")


def texture(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    axis, r = [(1, 0, 0), (1, 1, 0), (1, 1, 1)][rng.integers(3)], float(rng.uniform(0.6, 1.4))
    return Scan(replace(sample, fibre=Fibre(axis, r)), instrument, f"{axis} r = {r:.2f}")


def graded_layer(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    share, decay = float(rng.uniform(0.2, 0.8)), _log(rng, 1e-4, 7e-4)
    tail = LatticeDistribution.exponential_tail(sample.lattice_nm, share, decay)
    return Scan(replace(sample, a_nm=None, lattice=tail), instrument, f"{share:.2f} decaying over {decay:.1e} nm")


def two_populations(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    apart, share = float(rng.uniform(1e-4, 5e-4)), float(rng.uniform(0.1, 0.9))
    a = sample.lattice_nm
    pair = LatticeDistribution.two_populations(a - apart * share, a + apart * (1.0 - share), share, 90.0, 300.0)
    how = f"{apart:.1e} nm apart, {share:.2f} in the richer"
    return Scan(replace(sample, a_nm=None, lattice=pair), instrument, how)


def goniometer_moved(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    by = _log(rng, 0.002, 0.05) * float(rng.choice([-1.0, 1.0]))
    moved = replace(instrument, two_theta_offset=instrument.two_theta_offset + by)
    return Scan(sample, moved, f"{by:+.4f} degrees")


def monochromator_not_told(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    graphite = replace(instrument, monochromator_two_theta_deg=26.6)  # (002) of graphite, copper, from memory
    return Scan(sample, graphite, "graphite, standard too", calibrated_with=graphite)


def rough_surface(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    rough = Roughness(float(rng.uniform(0.3, 0.9)), float(rng.uniform(0.05, 0.4)))
    return Scan(replace(sample, roughness=rough), instrument, f"p = {rough.p:.2f}, q = {rough.q:.2f}")


def warmer_than_told(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    by = float(rng.uniform(-15.0, 15.0))
    return Scan(replace(sample, temperature_c=22.5 + by), instrument, f"{by:+.1f} K")


def alpha2_stripped(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    return Scan(
        sample, instrument, after=lambda angles, counts: (angles, defects.alpha2_stripped(angles, counts))
    )


def background_taken_off(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    share = float(rng.uniform(0.3, 1.0))
    return Scan(
        sample, instrument, f"{share:.2f}",
        after=lambda angles, counts: (angles, defects.background_taken_off(counts, share)),
    )  # fmt: skip


def resampled(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    step = float(rng.uniform(0.015, 0.045))
    return Scan(
        sample, instrument, f"{step:.3f} degrees",
        after=lambda angles, counts: defects.resampled(angles, counts, step),
    )  # fmt: skip


def _all_reacted(sample: SampleTruth) -> SampleTruth:
    """No niobium left: bronze alone stays beside the A15."""
    return replace(sample, others=tuple(one for one in sample.others if one.name != "nb"))


def all_reacted(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    return Scan(_all_reacted(sample), instrument)


def all_reacted_and_textured(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    return texture(rng, _all_reacted(sample), instrument)


def all_reacted_and_fibre_asked(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    """Texture again, and the fit is told to take March's function along the right axis."""
    scan = texture(rng, _all_reacted(sample), instrument)
    assert scan.sample.fibre is not None
    return replace(scan, asked={"texture_axes": {"nb3sn": scan.sample.fibre.axis}})


def all_reacted_and_graded(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    return graded_layer(rng, _all_reacted(sample), instrument)


def all_reacted_and_strained(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    """Microstrain of the A15 that hangs on the direction."""
    strain, anisotropy = _log(rng, 3e-4, 1.5e-3), float(rng.uniform(0.4, 1.0) * rng.choice([-1.0, 1.0]))
    strained = replace(_all_reacted(sample), microstrain_lorentz=strain, strain_anisotropy=anisotropy)
    return Scan(strained, instrument, f"strain {strain:.1e}, anisotropy {anisotropy:+.2f}")


def oblique_texture(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    """Axes of 24 equivalents: what a mild preference does averages out, a strong one is no low cubic harmonic."""
    axis, r = [(2, 1, 0), (2, 1, 1)][rng.integers(2)], _log(rng, 1.4, 3.0) ** float(rng.choice([-1.0, 1.0]))
    return Scan(replace(sample, fibre=Fibre(axis, r)), instrument, f"{axis} r = {r:.2f}")


def few_grains(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    grains = FewGrains(round(_log(rng, 5.0, 100.0)), _log(rng, 0.01, 0.1), int(rng.integers(2**31)))
    how = f"{grains.number} within {1e3 * grains.height_mm:.0f} um"
    return Scan(replace(sample, grains=grains), instrument, how)


def lognormal_sizes(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    law = LognormalSizes(_log(rng, 40.0, 300.0), float(rng.uniform(0.2, 0.7)), str(rng.choice(["spheres", "columns"])))
    how = f"{law.shape}, {law.volume_weighted_nm:.0f} nm, sigma {law.sigma:.2f}"
    return Scan(replace(sample, sizes=law), instrument, how)


def two_sizes(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    """Grains of two generations, alike in composition."""
    small, large, share = _log(rng, 30.0, 80.0), _log(rng, 120.0, 400.0), float(rng.uniform(0.2, 0.8))
    law = MixedSizes(((1.0 - share, LognormalSizes(small, 0.3)), (share, LognormalSizes(large, 0.3))))
    how = f"{share:.2f} of {large:.0f} nm beside {small:.0f} nm"
    return Scan(replace(sample, sizes=law), instrument, how)


def standard_of_small_domains(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    """The lines of the standard are broadened by its own domains, and nobody says so."""
    size = _log(rng, 700.0, 4000.0)
    return Scan(sample, instrument, f"{size:.0f} nm", standard_domain_size_nm=size)


def smoothed_by_polynomials(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    """A fine scan, and a window that is short beside its lines or not."""
    points, too = int(2 * rng.integers(2, 10) + 1), bool(rng.integers(2))
    return Scan(
        sample, instrument, f"{points} points, standard too: {too}", step_deg=STEP_DEG, standard_too=too,
        after=lambda angles, counts: (angles, np.maximum(np.round(defects.savitzky_golay(counts, points)), 0.0)),
    )  # fmt: skip


def resampled_finely(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    """A step that is no round number, made one by interpolation in all scans of a laboratory."""
    return Scan(
        sample, instrument, f"{STEP_DEG} to 0.0130 degrees", step_deg=STEP_DEG, standard_too=True,
        after=lambda angles, counts: defects.resampled(angles, counts, 0.0130),
    )  # fmt: skip


def angles_of_two_decimals(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    return Scan(
        sample, instrument, step_deg=0.0131, standard_too=True,
        after=lambda angles, counts: (defects.rounded_angles(angles), counts),
    )  # fmt: skip


def alpha2_stripped_everywhere(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    """The standard went through the same program, which leaves nothing below zero."""

    def after(angles: Array, counts: Array) -> tuple[Array, Array]:
        return angles, np.maximum(defects.alpha2_stripped(angles, counts), 0.0)

    return Scan(sample, instrument, after=after, standard_too=True)


def alpha1_alone(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    """A crystal takes K-alpha2 out, in the scan of the standard too or not; the doublet is told."""
    pure, too = replace(instrument, radiation="cu-ka1"), bool(rng.integers(2))
    return Scan(sample, pure, f"standard too: {too}", calibrated_with=pure if too else None)


def dead_time(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    dead, too = _log(rng, 0.01, 0.3) / 25_000.0, bool(rng.integers(2))
    return Scan(
        sample, instrument, f"{100 * (1.0 - 1.0 / (1.0 + 25_000 * dead)):.1f} % lost at the top, standard too: {too}",
        count=lambda means, seed: defects.counted_with_dead_time(means, dead, seed), standard_too=too,
    )  # fmt: skip


def mounting_clay(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    height, fwhm, halo = _log(rng, 0.002, 0.15), float(rng.uniform(0.4, 1.2)), float(rng.uniform(0.0, 1.0))
    return Scan(
        sample, instrument, f"{height:.4f}, {fwhm:.2f} wide, halo {halo:.2f}",
        lambda angles, means: defects.mounting_clay(angles, means, height, fwhm, halo),
    )  # fmt: skip


def roots_of_counts(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    decimals = [None, 0, 2, 4][rng.integers(4)]
    return Scan(
        sample, instrument, f"{decimals} decimals",
        after=lambda angles, counts: (angles, defects.rooted(counts, decimals)),
    )  # fmt: skip


def zero_far_off(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    by = float(rng.uniform(0.3, 0.7) * rng.choice([-1.0, 1.0]))
    moved = replace(instrument, two_theta_offset=instrument.two_theta_offset + by)
    return Scan(sample, moved, f"{by:+.2f} degrees")


def normalised(rng: Rng, sample: SampleTruth, instrument: InstrumentTruth) -> Scan:
    """Counts times a number, or their highest made a round one."""
    factor, too = [37.3, 0.1, 1.0, 100.0, 1e5][rng.integers(5)], bool(rng.integers(2))
    to_highest, decimals = factor in (1.0, 100.0, 1e5), [None, 0, 1, 4][rng.integers(4)]
    if factor == 1.0:
        decimals = None if decimals is None else 4

    def after(angles: Array, counts: Array) -> tuple[Array, Array]:
        by = factor / counts.max() if to_highest else factor
        return angles, defects.multiplied(counts, by, decimals)

    how = f"{'highest' if to_highest else 'times'} {factor:g}, {decimals} decimals, standard too: {too}"
    return Scan(sample, instrument, how, after=after, standard_too=too)


KINDS: dict[str, Kind] = {
    f.__name__.replace("_", " "): f
    for f in (
        wrong_slit, wrong_length, counts_per_second, smoothed, tantalum_not_told, section_as_powder, hot_pixels,
        dead_pixels, beam_trip, drift, missing_range, fewer_counts, amorphous_hump, foreign_phase, bare_lines,
        stray_lines, texture, graded_layer, two_populations, goniometer_moved, monochromator_not_told,
        rough_surface, warmer_than_told, alpha2_stripped, background_taken_off, resampled,
        all_reacted, all_reacted_and_textured, all_reacted_and_fibre_asked, all_reacted_and_graded,
        all_reacted_and_strained, oblique_texture, few_grains, lognormal_sizes, two_sizes,
        standard_of_small_domains, smoothed_by_polynomials, resampled_finely, angles_of_two_decimals,
        alpha2_stripped_everywhere, alpha1_alone, dead_time, mounting_clay, roots_of_counts, zero_far_off, normalised,
    )
}  # fmt: skip

UNSEEN = {"warmer than told", "goniometer moved"}
"""What no pattern can show beyond the uncertainty that is stated for it, 1.2 K and 0.002 degrees: a falsehood about
what stands outside the specimen. Counted by themselves."""
