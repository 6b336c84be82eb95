"""Order, composition and dopants of A15 Nb3Sn; calculated line strengths stand in the table (tests/outside/rows).

Relations after A. Godeke, Supercond. Sci. Technol. 19 (2006) R68, eq. 1 (form from memory). Degeneracy and dopant
figures were calculated apart from this package, partly with other dispersion tables.
"""

import numpy as np
import pytest

from tests.outside.rows.intensities import powder
from tests.outside.rows.order import DOPANTS
from xrdorder.crystals import (
    A15Composition,
    contrast_shift,
    doped,
    order_parameters,
    phase,
    structure_factor_squared,
    tin_lower_bound,
)
from xrdorder.xrays import radiation

CU = radiation("cu-ka1").energy_ev
#: s of (110), 1/nm.
S_110 = np.sqrt(2) / (2 * 0.5289)


def test_order_line_against_strong_line() -> None:
    """I(110)/I(211) is 0.03 for full order.

    The 0.14 in T. Spina, doctoral thesis, University of Geneva, is taken for the ratio of amplitudes.
    """
    strength, _ = powder(phase("nb3sn"))
    assert strength["110"] / strength["211"] == pytest.approx(0.032, abs=0.002)
    s = np.sqrt([2.0, 6.0]) / (2 * 0.5289)
    f_squared = structure_factor_squared(phase("nb3sn"), [[1, 1, 0], [2, 1, 1]], s, CU)
    assert np.sqrt(f_squared[0] / f_squared[1]) == pytest.approx(0.134, abs=0.003)


def test_order_and_tin_content_are_degenerate() -> None:
    """Two crystals with 4βS_a = 0.88 look alike, one stoichiometric and one poor in tin."""
    disordered, _ = powder(doped(phase("nb3sn"), A15Composition(0.25, 0.88)))
    poor_in_tin, _ = powder(doped(phase("nb3sn"), A15Composition(0.22, 0.88)))
    for name in ("200", "211", "321", "320", "400"):
        # Strong lines differ by at most 0.2 %.
        assert disordered[name] == pytest.approx(poor_in_tin[name], rel=2e-3), name
    # The order line by about 1 %, less than can be measured.
    assert disordered["110"] / poor_in_tin["110"] == pytest.approx(0.987, abs=0.004)


def test_relations_between_order_parameters() -> None:
    # S_b = 3 beta S_a / (1 - beta): 0.846 for full order at 22 % tin.
    s_a, s_b = order_parameters(0.22, 0.88)
    assert (float(s_a), float(s_b)) == pytest.approx((1.0, 0.846), abs=5e-4)
    # Stoichiometric: both are the site order itself.
    assert order_parameters(0.25, 0.9) == (pytest.approx(0.9), pytest.approx(0.9))
    # S_a <= 1 is a bound on tin.
    assert float(tin_lower_bound(0.92)) == pytest.approx(0.23)


@pytest.mark.parametrize(("element", "content", "share", "reading"), DOPANTS)
def test_dopants_imitate_disorder(element: str, content: float, share: float, reading: float) -> None:
    """The contrast against what I(110)/I(211) reads, which the table checks (tests/outside/rows)."""
    # The contrast itself, dopant in the strong lines, is nearer to or farther from one by what they change:
    # at most 0.7 % per at.% of Ta, and the other way for the light Ti.
    contrast = 1.0 + contrast_shift({element: content}, {element: share}, CU, S_110)
    assert contrast == pytest.approx(reading, abs=0.7 * content)
    assert (contrast > reading) == (element == "Ta")
