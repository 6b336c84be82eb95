"""Do the estimates hold? Measured values beside them."""
