"""What is said beside an estimate, wherever one is shown."""

from xrdorder.quantities.registry import UNTESTED

ESTIMATES = f"Tc and Bc2 are estimates, not measurements; {UNTESTED}."

ANCHORED = "estimates anchored to"
"""How the assumption begins that measured values of a lot hold its estimates."""
