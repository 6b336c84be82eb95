"""Relations that were derived from published samples follow from the table of them, and agree with the model."""

import numpy as np
import pytest

from tests.outside.test_strain_and_pinning import TREATMENTS
from xrdorder.estimates import PUBLISHED
from xrdorder.relations import relation
from xrdorder.relations.published_samples import PublishedSample, select

MILLED = "hardly annealed"  # resistivity of 140 microohm cm and more by milling: outside every relation


def of_field(*quantities: str, doped: bool) -> list[PublishedSample]:
    """Samples with Tc and Bc2 at 0 K."""
    chosen = select("Tc_K", "Bc2_T", *quantities, doped=doped, judges="field")
    return [s for s in chosen if s.Bc2_at_k < 0.5 and MILLED not in s.name]


def undoped_by_resistivity() -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Resistivity, Tc, slope and Bc2(0) of undoped samples below 60 microohm cm."""
    found = [s for s in of_field("resistivity_uohm_cm", doped=False) if s.resistivity_uohm_cm < 60.0]
    rho, tc, field = np.array([(s.resistivity_uohm_cm, s.Tc_K, s.Bc2_T) for s in found]).T
    stated = np.array([s.slope_T_per_K for s in found])
    return rho, tc, np.where(np.isfinite(stated), stated, field / (0.693 * tc)), field


@pytest.mark.parametrize(("name", "doped", "number"), [("doped-ratio", True, 49), ("undoped-ratio", False, 16)])
def test_ratio_of_field_to_tc_is_that_of_the_samples(name: str, doped: bool, number: int) -> None:
    ratios = np.array([s.Bc2_T / s.Tc_K for s in of_field(doped=doped)])
    entry = relation(name)
    assert len(ratios) == number
    # to the digits the entry gives
    assert float(entry(18.0)) / 18.0 == pytest.approx(ratios.mean(), abs=0.005)
    assert float(entry.scatter.at(18.0, 18.0 * ratios.mean())) / 18.0 == pytest.approx(ratios.std(ddof=1), abs=0.005)
    # the model has one vote a laboratory instead of one a sample
    model = PUBLISHED["ratio_doped" if doped else "ratio_undoped"]
    assert abs(model - ratios.mean()) < ratios.std(ddof=1) / np.sqrt(5.0)


def test_one_slope_is_as_near_as_anything_with_resistivity() -> None:
    rho, tc, slope, _ = undoped_by_resistivity()
    assert len(rho) == 13
    one, full = relation("undoped-slope"), relation("orlando-1979-slope")
    rms_one = float(np.sqrt(np.mean((slope - one(rho)) ** 2)))
    rms_full = float(np.sqrt(np.mean((slope - full(rho, tc)) ** 2)))
    assert rms_one == pytest.approx(float(one.scatter.at(20.0, 2.28)), abs=0.01)
    assert rms_full == pytest.approx(float(full.scatter.at(20.0, 2.28)), abs=0.01)
    assert abs(slope.mean() - 2.28) < slope.std(ddof=1) / np.sqrt(13.0)
    # the constant that was fitted: neither side has more on the mean
    assert abs(np.mean(slope - full(rho, tc))) < 0.46 / np.sqrt(13.0)
    # the dirty limit alone, 4480 gamma rho with 1236 J/(m^3 K^2), is a kelvin's worth of tesla short
    assert np.mean(slope - 4480.0 * 1236.0 * 1e-8 * rho) == pytest.approx(0.97, abs=0.02)


def test_near_full_tin_resistivity_tells_the_field_and_a_fall_with_tin_does_not() -> None:
    rho, _, _, field = undoped_by_resistivity()
    entry = relation("undoped-bc2-by-resistivity")
    rms = float(np.sqrt(np.mean((field - entry(rho)) ** 2)))
    assert rms == pytest.approx(float(entry.scatter.at(20.0, 28.0)), abs=0.05)
    with_tin = of_field("resistivity_uohm_cm", "tin_at_percent", doped=False)
    tin, rho, field = np.array([(s.tin_at_percent, s.resistivity_uohm_cm, s.Bc2_T) for s in with_tin]).T
    near = tin > 24.3  # where the fall sets in; beyond 25 at.% the relation is taken at its end
    assert near.sum() >= 6
    fall = relation("godeke-2006-collapse")(np.minimum(0.01 * tin[near], 0.25))
    by_tin, by_rho = (np.sqrt(np.mean((field[near] - x) ** 2)) for x in (fall, entry(rho[near])))
    assert by_rho < 1.3 < by_tin


def test_reaction_temperature_of_alloys() -> None:
    """N. Paudel et al., arXiv:2412.09514, table I: 17 alloys at 670 °C, 12 of them at 750 °C."""
    alloys = select("Tc_K", "Bc2_T", where=lambda s: "2412.09514" in s.source)
    for at_c, number in ((670.0, 17), (750.0, 12)):
        tc, field = np.array([(s.Tc_K, s.Bc2_T) for s in alloys if s.treatment_c == at_c]).T
        assert len(tc) == number
        assert float(relation("paudel-2024-tc")(at_c)) == pytest.approx(tc.mean(), abs=0.005)
        assert float(relation("paudel-2024-bc2")(at_c)) == pytest.approx(field.mean(), abs=0.05)
        assert tc.std(ddof=1) <= 0.205 and field.std(ddof=1) <= 1.1
    hotter = relation("paudel-2024-tc")(np.array([670.0, 750.0]))
    assert float(np.diff(hotter)[0]) / 80.0 == pytest.approx(7e-3, abs=5e-4)  # printed here as 7 mK a kelvin


def test_peak_force_by_boundaries_and_field() -> None:
    """C. Tarantini et al., Supercond. Sci. Technol. 27 (2014) 065013, table 3: six treatments of one wire."""
    density, field, _, force = np.array(list(TREATMENTS.values())).T * np.array([[1e7], [1.0], [1.0], [1.0]])
    entry = relation("tarantini-2014-boundaries")
    ratio = force / entry(density, field)
    assert ratio.mean() == pytest.approx(1.0, abs=0.005)
    assert ratio.std(ddof=1) == pytest.approx(entry.scatter.relative, abs=0.003)
    assert np.all(abs(ratio - 1.0) < 2.0 * entry.scatter.relative)
    # four to five kN on a square metre of boundary
    assert (force * 1e6 / density).min() > 4.1 and (force * 1e6 / density).max() < 5.0


@pytest.mark.parametrize(
    ("wire", "p", "q"), [("Ta", (0.379, 0.417), (2.102, 2.149)), ("Ti", (0.384, 0.384), (1.737, 1.737)),
                         ("binary", (0.447, 0.447), (1.942, 1.942))],
)  # fmt: skip
def test_exponents_of_the_pinning_force_by_dopant(wire: str, p: tuple, q: tuple) -> None:
    """T. Baumgartner et al., arXiv:1311.6901: first component of wires before irradiation."""
    from xrdorder.superconductivity.mixture import Common
    from xrdorder.superconductivity.pinning import ForceShape

    shape = ForceShape(Common(1, wire=wire))
    h = np.array([1e-5, 2e-5, 1.0 - 2e-5, 1.0 - 1e-5])
    low_1, low_2, high_2, high_1 = (float(shape(np.array([x]))[0]) for x in h)
    # what is left of the other factor over this step is 2e-5
    assert p[0] - 1e-3 <= np.log2(low_2 / low_1) <= p[1] + 1e-3
    assert q[0] - 1e-3 <= np.log2(high_2 / high_1) <= q[1] + 1e-3


def test_point_defects_move_the_peak_to_higher_fields() -> None:
    """T. Baumgartner et al.: from p / (p + q), 0.16, towards the 1/3 of h (1 - h)^2 as fluence grows."""
    entry = relation("baumgartner-2014-tantalum")
    h = np.linspace(0.0, 1.0, 2001)
    peaks = [float(h[np.argmax(entry(h, fluence))]) for fluence in (0.0, 1e22, 1e23, 1e25)]
    assert peaks == sorted(peaks)
    assert peaks[0] == pytest.approx(0.155, abs=2e-3) and peaks[-1] == pytest.approx(1.0 / 3.0, abs=2e-3)
