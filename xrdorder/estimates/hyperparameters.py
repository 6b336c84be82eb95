"""Every number of the model that is not measured on the wires of a study: one table, each with how it is known.

`PUBLISHED` is what the other modules read. Somebody who knows better (a laboratory with its own line, a test that
leaves a laboratory out) asks for a copy with other values (`Hyperparameters.replaced`); there is no second place.

``known`` is "derived" (from published samples, `xrdorder.relations.published_samples`), "read", "memory" or "judged". A
judged number is one that no published data decide; docs/explanation/evidence.md says what hangs on it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from xrdorder.exceptions import UnknownNameError
from xrdorder.relations.tin_from_lattice import DEFAULT, PIVOT_TIN

KNOWN = ("derived", "read", "memory", "judged")


@dataclass(frozen=True)
class Hyperparameter:
    """One number of the model.

    Attributes
    ----------
    value : float
    unit : str
    source : str
        From what it is.
    known : str
        One of `KNOWN`.
    """

    value: float
    unit: str
    source: str
    known: str

    def __post_init__(self) -> None:
        if self.known not in KNOWN:
            raise ValueError(f"hyper-parameter known as {self.known!r}; say one of {', '.join(KNOWN)}")


@dataclass(frozen=True)
class Hyperparameters:
    """The table; ``table["slope_pm"]`` is the number itself.

    Examples
    --------
    >>> PUBLISHED["slope_pm"]
    0.136
    >>> PUBLISHED.replaced(slope_pm=0.14)["slope_pm"]
    0.14
    """

    entries: Mapping[str, Hyperparameter]

    def __getitem__(self, name: str) -> float:
        return self.entry(name).value

    def __iter__(self) -> Iterator[str]:
        return iter(self.entries)

    def entry(self, name: str) -> Hyperparameter:
        """Give value, unit and source.

        Raises
        ------
        UnknownNameError
            There is no such hyper-parameter.
        """
        try:
            return self.entries[name]
        except KeyError:
            raise UnknownNameError(
                f"no hyper-parameter '{name}'; known are {', '.join(self.entries)}"
            ) from None

    def replaced(self, **values: float) -> Hyperparameters:
        """Copy of the table with other values."""
        return Hyperparameters(
            {
                **self.entries,
                **{name: replace(self.entry(name), value=float(value)) for name, value in values.items()},
            }
        )


def _table(*rows: tuple[str, float, str, str, str]) -> Hyperparameters:
    return Hyperparameters(
        {name: Hyperparameter(value, unit, source, known) for name, value, unit, known, source in rows}
    )


_LATTICE_AT_PIVOT_PM = round(1e3 * (DEFAULT.slope_nm * PIVOT_TIN + DEFAULT.intercept_nm), 6)

PUBLISHED = _table(
    # --- the lattice parameter of A15 with tin and order
    ("lattice_at_pivot_pm", _LATTICE_AT_PIVOT_PM, "pm", "read", "both published lines a(tin) where they meet"),
    ("pivot_tin", 100.0 * PIVOT_TIN, "at.%", "read", "where the two published lines meet"),
    ("slope_pm", round(10.0 * DEFAULT.slope_nm, 9), "pm per at.%", "read", f"{DEFAULT.title}, relation {DEFAULT.name}"),
    ("slope_spread", 0.12, "relative", "derived", "half the distance to the second published line, 0.176"),
    ("scale_pm", 0.134, "pm", "derived", "five laboratories on a(tin), one vote each; Student's t of four"),
    ("lot_offset_pm", 0.03, "pm", "judged", "below the 0.08-0.09 pm within one laboratory, most of it microanalysis"),
    ("wire_scatter_pm", 0.02, "pm", "judged", "six bulk samples of one laboratory: 0.043 pm, tin and order included"),
    ("wire_freedom", 6.0, "degrees", "judged", "Student's t of a wire's own lattice error: some are wrong"),
    ("widening_pm", 5.0, "pm per unit S_a", "memory", "disorder widens the lattice; how much was not read"),
    ("u_widening_pm", 4.0, "pm per unit S_a", "memory", "reaches down to nothing; decides absolute tin"),
    ("order_of_lines", 0.98, "1", "derived", "S_a of the annealed bulk that the a(tin) lines were measured on"),
    # --- what wires hold
    ("tin_edge_low", 25.2, "at.%", "read", "tin-rich end of the A15 field: the richest measured samples, from"),
    ("tin_edge_high", 25.5, "at.%", "read", "to; anywhere between, the same for a whole study"),
    ("tin_floor", 18.0, "at.%", "read", "tin-poor end of the A15 field"),
    ("tin_edge_width", 0.25, "at.%", "judged", "how gently the population ends at either"),
    ("tin_deficit", 0.89, "at.%", "derived", "median of lots below the edge: 16 bulk samples and wires"),
    ("tin_deficit_spread", 0.81, "ln", "derived", "the same"),
    ("u_tin_deficit_spread", 0.18, "ln", "derived", "that of a spread known from 16 samples, 1/sqrt(2 (16 - 1))"),
    ("tin_in_lot", 0.6, "at.%", "judged", "spread of tin within a lot over treatments"),
    ("disorder_bulk", 0.016, "1", "derived", "mean 1 - S_a of eight bulk samples, resistivity and tin"),
    ("disorder_binary", 0.030, "1", "judged", "undoped wire: nobody has measured it; between bulk and doped wire"),
    ("disorder_doped", 0.037, "1", "derived", "1 - S_a of five doped wires, dopants taken off, median 0.038"),
    ("disorder_any", 0.035, "1", "judged", "dopants not declared: between undoped and doped wire"),
    ("disorder_spread", 0.8, "ln", "derived", "five doped wires; taken for undoped wire and bulk as well"),
    ("u_disorder_spread", 0.35, "ln", "derived", "that of a spread known from five, 1/sqrt(2 (5 - 1))"),
    ("disorder_edge_width", 0.008, "1", "judged", "how gently the population ends at either"),
    ("disorder_most", 0.3, "1", "judged", "no reacted wire is known below S_a of 0.85; irradiated A15 is"),
    ("disorder_in_lot", 0.018, "1", "judged", "spread of S_a within a lot over treatments"),
    ("level_by_study", 0.5, "1", "judged", "variance of the levels that lots of a study have in common: "
     "without it, many lots unlike the usual ones are put down to the scale"),
    ("spread_of_spreads", 0.5, "ln", "judged", "how far a lot's spreads of tin and order may be from the usual ones"),
    # --- microanalysis
    ("probe_bias", -0.46, "at.%", "derived", "the other quarter of what tin reads low against Tc; see tin_offset"),
    ("u_probe_bias", 0.55, "at.%", "judged", "the same"),
    # --- Tc
    ("tin_offset", 1.37, "at.%", "derived", "Tc against microprobe tin below 24.2 at.%: means 1.3 to 3.0, less 0.5 "
     "for selection by a low reading; three quarters of the rest. The allowance and the split are judged"),
    ("u_tin_offset", 0.75, "at.%", "derived", "between those groups"),
    ("tc_offset_k", 0.23, "K", "derived", "wires of one laboratory at one treatment, or of one series"),
    ("tc_scatter_k", 0.12, "K", "derived", "twelve pairs of alloys over two treatments, 0.11 K a wire"),
    ("tantalum_k", 0.3, "K", "read", "T. Baumgartner et al. (2017), eq. (3) against the binary step"),
    # --- Bc2
    ("ratio_doped", 1.612, "T/K", "derived", "Bc2(0)/Tc of 49 doped samples of five laboratories, one vote each"),
    ("u_ratio_doped", 0.084, "T/K", "derived", "the same: a sample of another laboratory"),
    ("ratio_undoped", 1.493, "T/K", "derived", "Bc2(0)/Tc of 16 undoped samples of six laboratories, one vote each"),
    ("u_ratio_undoped", 0.147, "T/K", "derived", "the same: a sample of another laboratory"),
    ("ratio_any", 1.57, "T/K", "judged", "dopants not declared: between the two"),
    ("u_ratio_any", 0.14, "T/K", "judged", "the same"),
    ("ratio_scatter", 0.02, "T/K", "derived", "twelve pairs of alloys 0.021; one wire, four times, 0.014; by "
     "restricted likelihood 0.024, reading of the field included"),
    ("ratio_scatter_bulk", 0.05, "T/K", "derived", "two powder mixes at 1200 to 1800 °C, by restricted likelihood"),
    ("u_ratio_by_tc", 0.10, "T/K per K", "derived", "pairs of alloys -0.13, two series of one wire +0.05 and +0.11; "
     "one for a study: the alloys of one laboratory do not differ in it"),
    ("ratio_by_tc_range_k", 0.6, "K", "judged", "the Tc those series span; beyond it the ratio stays"),
    # --- critical currents
    ("current_scatter", 0.10, "relative", "judged", "how far wires of a lot differ in what no pattern shows: area of "
     "the A15, cracks, broken filaments"),
    ("grain_scatter", 0.10, "relative", "judged", "how far grains over domains differ between wires of a lot"),
    # --- how much a study may teach
    ("most_wires", 8.0, "wires", "judged", "evidence of a lot about what it shares counts as that of so many wires at "
     "most: the forms of the model are not known better"),
    ("site_by_lot", 0.7, "1", "judged", "share of the variance of a dopant's sites that a lot has in common; the rest "
     "goes with equal treatment"),
    ("u_criterion_k", 0.25, "K", "derived", "Tc without criterion: onset and middle are half a kelvin apart"),
)  # fmt: skip
"""Hyper-parameters by published evidence."""
