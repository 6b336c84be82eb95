"""Measured quantities as functions of the fit parameters."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from xrdorder.crystals import free_lengths
from xrdorder.forward_model.amounts import mass_per_scale, masses
from xrdorder.forward_model.phase_lines import PhaseLines
from xrdorder.profiles.width_terms import as_lorentz
from xrdorder.quantities.of_phase import STRAIN_ANISOTROPY, WEIGHT_FRACTION, lattice_parameter
from xrdorder.quantities.records import How, Record, record_of

Values = Mapping[str, float]
Function = Callable[[Values], float]

AMOUNTS = "R. J. Hill, C. J. Howard, J. Appl. Cryst. 20 (1987) 467, from memory"
"""Where the formula of weight fractions comes from."""


@dataclass(frozen=True)
class Derived:
    """A quantity as a function of the fit parameters, and how it is computed of them.

    Attributes
    ----------
    function : callable
        Gives the value.
    how : callable
        Gives formula, numbers, source and remark at given parameters: the formula names parameters.
    """

    function: Function
    how: Callable[[Values], How]

    def __call__(self, values: Values) -> float:
        """Give the value at these parameters."""
        return self.function(values)

    def record(self, quantity: str, values: Values) -> Record:
        """Record how the value at these parameters was computed."""
        known = {name: (name, value) for name, value in values.items()}
        return record_of(quantity, self(values), known, **self.how(values))


def functions(
    weighed: Sequence[PhaseLines],
    others: Sequence[PhaseLines],
    a15: PhaseLines | None,
    second: PhaseLines | None,
    taken: Sequence[str],
) -> dict[str, Derived]:
    """Quantities of a fit, by name.

    Parameters
    ----------
    weighed
        Phases that share the weight.
    others
        Phases that were found and have no weight: an internal standard, phases whose atoms are not known.
    a15, second
        Lines of the A15 and of a second population of it, None where there is none.
    taken
        Parameters of effects in the model.
    """
    quantities: dict[str, Derived] = {}
    if a15 is not None and a15.contrast_name is not None:
        quantities |= _a15_functions(a15, second, taken)
    for lines in (*weighed, *others):
        if lines is not a15:
            axes = free_lengths(lines.phase.system)
            for axis, name in zip(axes, lines.length_names, strict=True):
                quantities[lattice_parameter(axis).of(lines.phase.name)] = parameter(name)
    for lines in weighed:
        quantities[WEIGHT_FRACTION.of(lines.phase.name)] = _weight_fraction(lines, weighed, second)
    for lines in (*weighed, *others):
        if lines.anisotropy_name and lines.anisotropy_name in taken:
            quantities[STRAIN_ANISOTROPY.of(lines.phase.name)] = parameter(lines.anisotropy_name)
    return quantities


def _a15_functions(
    a15: PhaseLines, second: PhaseLines | None, taken: Sequence[str]
) -> dict[str, Derived]:
    assert a15.contrast_name is not None
    first = a15.length_names[0]
    quantities: dict[str, Derived] = {"a_nm": parameter(first), "order_contrast": parameter(a15.contrast_name)}
    widths = zip(("lorentz_sec", "lorentz_tan", "gauss_tan2"), a15.width_names, strict=True)
    quantities |= {quantity: parameter(name) for quantity, name in widths}
    quantities["lorentz_sec"] = _size_width(a15)
    optional = {
        "lattice_tail_nm": a15.tail_name,
        "elastic_shift": a15.elastic_name,
        "depth_slope": a15.depth_name,
    }
    quantities |= {quantity: parameter(name) for quantity, name in optional.items() if name and name in taken}
    if second is not None:
        quantities |= _Populations(a15, second).functions()
    return quantities


def _size_width(lines: PhaseLines) -> Derived:
    """Width that goes with 1/cos(theta), of the Lorentz line with the same integral breadth."""
    sec, gauss = lines.width_names[0], lines.size_gauss_name
    if not gauss:
        return parameter(sec)
    return Derived(
        lambda values: as_lorentz(values[sec], values[gauss]),
        lambda values: {
            "formula": f"as_lorentz({sec}, {gauss})",
            "source": "definition",
            "remark": "full width of the Lorentz line with the same integral breadth",
        },
    )


class _Populations:
    """Two populations of the A15: mean, the poorer and the richer in tin, the share of the richer."""

    def __init__(self, first: PhaseLines, second: PhaseLines) -> None:
        self.lines = first, second
        self.lattices = tuple(parameter(lines.length_names[0]) for lines in self.lines)
        self.widths = tuple(_size_width(lines) for lines in self.lines)

    def functions(self) -> dict[str, Derived]:
        """Quantities by name."""
        return {
            "a_nm": Derived(self._mean_lattice, self._how_mean_lattice),
            "lorentz_sec": Derived(self._width_of_mean_size, self._how_width_of_mean_size),
            "a_nm_lean": self._of_richer(self.lattices, False),
            "a_nm_rich": self._of_richer(self.lattices, True),
            "rich_share": Derived(self._share_of_richer, self._how_share_of_richer),
            "lorentz_sec_lean": self._of_richer(self.widths, False),
            "lorentz_sec_rich": self._of_richer(self.widths, True),
        }

    def _masses(self, values: Values) -> list[float]:
        return [values[lines.scale_name] * mass_per_scale(lines, values) for lines in self.lines]

    def _share_of_second(self, values: Values) -> float:
        masses = self._masses(values)
        return masses[1] / sum(masses)

    def _second_is_richer(self, values: Values) -> bool:
        first, second = (lattice(values) for lattice in self.lattices)
        return second > first

    def _of_richer(self, of: tuple[Derived, ...], richer: bool) -> Derived:
        def chosen(values: Values) -> Derived:
            return of[int(self._second_is_richer(values) == richer)]

        return Derived(lambda values: chosen(values)(values), lambda values: chosen(values).how(values))

    def _mean_lattice(self, values: Values) -> float:
        share = self._share_of_second(values)
        return (1.0 - share) * self.lattices[0](values) + share * self.lattices[1](values)

    def _how_mean_lattice(self, values: Values) -> How:
        first, second = (lattice.how(values)["formula"] for lattice in self.lattices)
        return {
            "formula": f"(1 - share_of_second) * {first} + share_of_second * {second}",
            "numbers": {"share_of_second": self._share_of_second(values)},
            "source": "definition",
            "remark": "mean of two populations by mass",
        }

    def _width_of_mean_size(self, values: Values) -> float:
        """Width of the mean size: sizes, which go with one over the width, are averaged over mass.

        A population too coarse to have a width makes the mean as coarse.
        """
        first, second = (width(values) for width in self.widths)
        if min(first, second) <= 0.0:
            return min(first, second)
        share = self._share_of_second(values)
        return first * second / ((1.0 - share) * second + share * first)

    def _how_width_of_mean_size(self, values: Values) -> How:
        first, second = (width.how(values)["formula"] for width in self.widths)
        formula = f"min({first}, {second})"
        if min(width(values) for width in self.widths) > 0.0:
            formula = f"{first} * {second} / ((1 - share_of_second) * {second} + share_of_second * {first})"
        return {
            "formula": formula,
            "numbers": {"share_of_second": self._share_of_second(values)},
            "source": "definition",
            "remark": "width of the mean size of two populations by mass",
        }

    def _share_of_richer(self, values: Values) -> float:
        share = self._share_of_second(values)
        return share if self._second_is_richer(values) else 1.0 - share

    def _how_share_of_richer(self, values: Values) -> How:
        first, second = self._masses(values)
        leaner, richer = (first, second) if self._second_is_richer(values) else (second, first)
        return {
            "formula": "mass_of_richer / (mass_of_richer + mass_of_leaner)",
            "numbers": {"mass_of_richer": richer, "mass_of_leaner": leaner},
            "source": AMOUNTS,
            "remark": "masses: scale x cell mass x cell volume, in common units",
        }


def parameter(name: str) -> Derived:
    """A quantity that is a parameter itself."""
    return Derived(lambda values: values[name], lambda values: {"formula": name, "source": "parameter of the fit"})


def weights_by_mass(values: Values, a15: str) -> dict[str, float]:
    """Change of each weight fraction w for a relative change of one of the mass of the A15: w (1 - w), or -w w_A15."""
    mine = WEIGHT_FRACTION.of(a15)
    of_a15 = values.get(mine, 0.0)
    weights = {name: value for name, value in values.items() if WEIGHT_FRACTION.phase(name)}
    return {name: value * ((name == mine) - of_a15) for name, value in weights.items()}


def _weight_fraction(
    lines: PhaseLines, weighed: Sequence[PhaseLines], second: PhaseLines | None
) -> Derived:
    def fraction(values: Values) -> float:
        every = masses(weighed, second, values)
        total = sum(every.values())
        return every[lines.phase.name] / total if total > 0.0 else float("nan")

    def how(values: Values) -> How:
        every = masses(weighed, second, values)
        formula = f"{lines.scale_name} * mass_per_scale"
        numbers = {"mass_per_scale": mass_per_scale(lines, values), "total_mass": sum(every.values())}
        if second is not None and second.phase.name == lines.phase.name:
            formula = f"({formula} + {second.scale_name} * mass_per_scale_of_second)"
            numbers["mass_per_scale_of_second"] = mass_per_scale(second, values)
        return {
            "formula": f"{formula} / total_mass",
            "numbers": numbers,
            "source": AMOUNTS,
            "remark": "scale x cell mass x cell volume, over the sum of it for all phases found",
        }

    return Derived(fraction, how)
