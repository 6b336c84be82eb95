"""How far equal wires of one lot scatter by what is published, with its doubt: where a study has few replicates.

A study with three degrees of freedom of replicates tells it by itself; one with less takes what is published times a
factor that nobody knows for this wire: any from one to three about as likely as another, less and less likely below and
beyond. How far beyond is chosen so that of studies without any difference fewer than 5 in 100 show one while equal
wires scatter by up to three times what is published, with or without replicates (docs/contributing/false-positives.md).

The scatter of Tc, Bc2 and tin is part of their
draws already (`xrdorder.estimates.hyperparameters`); only what goes beyond is added.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from xrdorder.comparison.quantity_draws import Values
from xrdorder.estimates.hyperparameters import PUBLISHED
from xrdorder.quantities.registry import ESTIMATED, known

Array = NDArray[np.float64]

ONCE = 1.0
FAR = (6.0, 6.0, 8.0)
"""Factors to the published scatter below and beyond which the true one is less and less likely, the latter for none,
one and two degrees of freedom. With 6 throughout, two pairs that agree by chance made 5.8 % false verdicts at three
times the published scatter; with 8 it is 4.3 %. With 8 throughout less could be seen without replicates."""


class Published(NamedTuple):
    """Scatter of one wire, in the unit of the quantity (a part of it for what is compared by its logarithm)."""

    u: float
    known: str
    source: str


_TIN = 1e-2 * PUBLISHED["wire_scatter_pm"] / PUBLISHED["slope_pm"]
_TC, _PER_K = PUBLISHED["tc_scatter_k"], PUBLISHED["ratio_any"]
_BC2 = float(np.hypot(17.3 * PUBLISHED["ratio_scatter"], _PER_K * _TC))  # 17.3 K: a reacted wire

SCATTER = {
    "a_nm": Published(1e-3 * PUBLISHED["wire_scatter_pm"], "judged", PUBLISHED.entry("wire_scatter_pm").source),
    "tin_fraction": Published(_TIN, "derived", "scatter of the lattice parameter by the slope a(tin)"),
    "site_order": Published(0.01, "judged", "half of 0.02: one specimen a dozen times, T. Spina (thesis, Geneva)"),
    "domain_size_nm": Published(0.05, "judged", "5 %: no repeated reaction was found published"),
    "a15_fraction": Published(0.01, "judged", "1 wt.%: no repeated reaction was found published"),
    "weight_fraction_nb": Published(0.005, "judged", "0.5 wt.%: no repeated reaction was found published"),
    "Tc_K": Published(_TC, "derived", PUBLISHED.entry("tc_scatter_k").source),
    "Bc2_0K_T": Published(_BC2, "derived", f"of Tc, and of Bc2(0)/Tc: {PUBLISHED.entry('ratio_scatter').source}"),
    "Bc2_4K2_T": Published(0.89 * _BC2, "derived", "as Bc2 at 0 K"),
    "critical_current_a": Published(0.022, "abstract", "2.2 % with one procedure at 12 T: VAMAS intercomparison"),
}  # fmt: skip
"""By quantity."""


@dataclass(frozen=True)
class Prior:
    """What is known of the scatter between equal wires before replicates are asked.

    Attributes
    ----------
    u : float
        Published standard deviation of one wire, on the scale of the values.
    held : float
        How much of it the known uncertainties hold already.
    """

    u: float
    held: float

    def nodes(self, freedom: int) -> tuple[Array, Array]:
        """Scatters beyond the known uncertainties, from none to far too large, and how probable each is.

        `freedom` are the degrees of freedom by which replicates tell of it as well.
        """
        far = FAR[min(freedom, len(FAR) - 1)]
        factor = np.geomspace(0.03 * ONCE, 10.0 * far, 97)
        density = 1.0 / (1.0 + (ONCE / factor) ** 2) / (1.0 + (factor / far) ** 4)
        total = self.u * factor
        beyond = np.sqrt(np.maximum(total**2 - self.held**2, (1e-3 * self.u) ** 2))
        return beyond, density / density.sum()


def prior_of(values: Values) -> Prior | None:
    """Published scatter for a quantity; where none is, that wires scatter as far as their known uncertainties go.

    None where nothing is known of the values at all, as of numbers without uncertainties.
    """
    name = values.quantity.removeprefix("logarithm of ")
    about = known(name)
    if about is not None and about.name in SCATTER:
        factor = about.of_column.factor if name == about.column != about.name else 1.0
        u = SCATTER[about.name].u * factor
        return Prior(u, u if about.name in ESTIMATED else 0.0)
    if len(values) < 2:
        return None
    covariance = values.covariance()
    apart = np.linalg.qr(np.ones((len(values), 1)), mode="complete")[0][:, 1:]
    square = float(np.median(np.linalg.eigvalsh(apart.T @ covariance @ apart)))
    return Prior(float(np.sqrt(square)), 0.0) if square > 1e-12 * float(np.max(np.diag(covariance))) else None
