"""Quantities that every phase of a specimen has: owner and kind are put into a name, and read from it, here alone."""

from typing import NamedTuple


class PhaseQuantity(NamedTuple):
    """A quantity of which each phase has its own value.

    Attributes
    ----------
    kind
        What the value is; the name of the phase stands behind it.

    Examples
    --------
    >>> WEIGHT_FRACTION.of("cu-sn"), WEIGHT_FRACTION.phase("weight_fraction_cu-sn"), WEIGHT_FRACTION.phase("a_nm")
    ('weight_fraction_cu-sn', 'cu-sn', '')
    """

    kind: str

    def of(self, phase: str) -> str:
        """Name of the value that a phase has."""
        return f"{self.kind}_{phase}"

    def phase(self, name: str) -> str:
        """Phase whose value a name means; empty for the name of anything else."""
        start = f"{self.kind}_"
        return name.removeprefix(start) if name.startswith(start) else ""


WEIGHT_FRACTION = PhaseQuantity("weight_fraction")
UPPER_LIMIT = PhaseQuantity("upper_limit")
"""Of the weight fraction of a phase that was not found."""
STRAIN_ANISOTROPY = PhaseQuantity("strain_anisotropy")


def lattice_parameter(axis: str) -> PhaseQuantity:
    """Lattice parameter of an axis, nm, of all phases but the A15, whose own is ``a_nm``."""
    return PhaseQuantity(f"lattice_{axis}_nm")
