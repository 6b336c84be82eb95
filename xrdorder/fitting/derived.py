"""Measured quantities as functions of the fit parameters."""

from collections.abc import Callable, Mapping, Sequence

from xrdorder.crystals import free_lengths
from xrdorder.forward_model.amounts import mass_per_scale, masses
from xrdorder.forward_model.phase_lines import PhaseLines
from xrdorder.profiles.width_terms import as_lorentz

Values = Mapping[str, float]
Function = Callable[[Values], float]


def functions(
    weighed: Sequence[PhaseLines],
    others: Sequence[PhaseLines],
    a15: PhaseLines | None,
    second: PhaseLines | None,
    taken: Sequence[str],
) -> dict[str, Function]:
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
    found: dict[str, Function] = {}
    if a15 is not None and a15.contrast_name is not None:
        found |= _a15_functions(a15, second, taken)
    for lines in (*weighed, *others):
        if lines is not a15:
            axes = free_lengths(lines.phase.system)
            for axis, name in zip(axes, lines.length_names, strict=True):
                found[lattice_quantity(lines.phase.name, axis)] = parameter(name)
    for lines in weighed:
        found[weight_quantity(lines.phase.name)] = _weight_fraction(lines, weighed, second)
    for lines in (*weighed, *others):
        if lines.anisotropy_name and lines.anisotropy_name in taken:
            found[f"strain_anisotropy_{lines.phase.name}"] = parameter(lines.anisotropy_name)
    return found


def _a15_functions(
    a15: PhaseLines, second: PhaseLines | None, taken: Sequence[str]
) -> dict[str, Function]:
    assert a15.contrast_name is not None
    first = a15.length_names[0]
    found: dict[str, Function] = {"a_nm": parameter(first), "order_contrast": parameter(a15.contrast_name)}
    widths = zip(("lorentz_sec", "lorentz_tan", "gauss_tan2"), a15.width_names, strict=True)
    found |= {quantity: parameter(name) for quantity, name in widths}
    found["lorentz_sec"] = _size_width(a15)
    optional = {
        "lattice_tail_nm": a15.tail_name,
        "elastic_shift": a15.elastic_name,
        "depth_slope": a15.depth_name,
    }
    found |= {quantity: parameter(name) for quantity, name in optional.items() if name and name in taken}
    if second is not None:
        found |= _population_functions(a15, second)
    return found


def _size_width(lines: PhaseLines) -> Function:
    """Width that goes with 1/cos(theta), of the Lorentz line with the same integral breadth."""
    sec, gauss = lines.width_names[0], lines.size_gauss_name
    return lambda values: as_lorentz(values[sec], values[gauss] if gauss else 0.0)


def _width_of_mean_size(one: float, other: float, share_of_other: float) -> float:
    """Width of the mean size of two populations: sizes, which go with one over the width, are averaged over mass.

    A population too coarse to have a width makes the mean as coarse.
    """
    if min(one, other) <= 0.0:
        return min(one, other)
    return one * other / ((1.0 - share_of_other) * other + share_of_other * one)


def _population_functions(a15: PhaseLines, second: PhaseLines) -> dict[str, Function]:
    """Two populations: mean, the poorer and the richer in tin, the share of the richer."""
    one, two = a15.length_names[0], second.length_names[0]

    def share_of_second(values: Values) -> float:
        masses = [values[x.scale_name] * mass_per_scale(x, values) for x in (a15, second)]
        return masses[1] / sum(masses)

    def mean(of_one: Function, of_other: Function) -> Function:
        def of(values: Values) -> float:
            share = share_of_second(values)
            return (1.0 - share) * of_one(values) + share * of_other(values)

        return of

    def of_richer(of_one: Function, of_other: Function, richer: bool) -> Function:
        return lambda values: (of_other if (values[two] > values[one]) == richer else of_one)(values)

    def share_of_richer(values: Values) -> float:
        share = share_of_second(values)
        return share if values[two] > values[one] else 1.0 - share

    lattices, widths = (parameter(one), parameter(two)), (_size_width(a15), _size_width(second))

    def width_of_mean_size(values: Values) -> float:
        return _width_of_mean_size(widths[0](values), widths[1](values), share_of_second(values))

    return {
        "a_nm": mean(*lattices),
        "lorentz_sec": width_of_mean_size,
        "a_nm_lean": of_richer(*lattices, False),
        "a_nm_rich": of_richer(*lattices, True),
        "rich_share": share_of_richer,
        "lorentz_sec_lean": of_richer(*widths, False),
        "lorentz_sec_rich": of_richer(*widths, True),
    }


def lattice_quantity(phase_name: str, axis: str) -> str:
    """Name of a lattice parameter of a phase other than the A15 among the measured quantities."""
    return f"lattice_{axis}_nm_{phase_name}"


def weight_quantity(phase_name: str) -> str:
    """Name of the weight fraction of a phase among the measured quantities."""
    return f"weight_fraction_{phase_name}"


def parameter(name: str) -> Function:
    """A quantity that is a parameter itself."""
    return lambda values: values[name]


def weights_by_mass(values: Values, a15: str) -> dict[str, float]:
    """Change of each weight fraction w for a relative change of one of the mass of the A15: w (1 - w), or -w w_A15."""
    mine = weight_quantity(a15)
    of_a15 = values.get(mine, 0.0)
    weights = {name: value for name, value in values.items() if name.startswith(weight_quantity(""))}
    return {name: value * ((name == mine) - of_a15) for name, value in weights.items()}


def _weight_fraction(
    lines: PhaseLines, weighed: Sequence[PhaseLines], second: PhaseLines | None
) -> Function:
    def fraction(values: Values) -> float:
        every = masses(weighed, second, values)
        total = sum(every.values())
        return every[lines.phase.name] / total if total > 0.0 else float("nan")

    return fraction
