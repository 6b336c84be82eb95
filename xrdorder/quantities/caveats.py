"""What is said beside an estimate, wherever one is shown."""

from xrdorder.quantities.registry import UNTESTED

ESTIMATES = f"Tc and Bc2 are estimates, not measurements; {UNTESTED}."

ANCHORED = "estimates anchored to"
"""How the assumption begins that measured values of a lot hold its estimates."""

NOT_WIDENED = "if disorder does not widen the lattice, which is known from memory only"
"""To be said beside a difference of tin at different order, after what the difference would then be."""
