"""What is said beside an estimate, wherever one is shown."""

UNTESTED = "no published data test an absolute Tc from X-rays below 17.6 K"
"""To be said beside every absolute Tc: published samples with measured lattice parameter and Tc all lie above."""

ESTIMATES = f"Tc and Bc2 are estimates, not measurements; {UNTESTED}."

ANCHORED = "estimates anchored to"
"""How the assumption begins that measured values of a lot hold its estimates."""
