"""What must be said wherever estimates are shown, and beside the work that leads to them."""

ESTIMATES = "Tc and Bc2 are estimates from published relations, not measurements."

CAUTIONS = (
    f"{ESTIMATES} No coil is designed and no wire accepted on an estimate alone: measure Tc and the critical current "
    "of the wire, under the strain it will see.",
    "X-rays injure without being felt: only trained people operate a diffractometer, with its interlocks working.",
    "Acids that free filaments belong in a fume cupboard, in trained hands; hydrogen from etching shifts lattices.",
    "Furnaces burn, tin leaks, vacuum and argon suffocate; cryogens burn and displace air.",
    "The rules of your laboratory and country, and licensed practice, come first.",
)
