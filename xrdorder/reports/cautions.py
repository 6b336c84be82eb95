"""What must be said wherever estimates are shown, and beside the work that leads to them."""

from xrdorder.quantities.caveats import ESTIMATES

CAUTIONS = (
    f"{ESTIMATES} No coil is designed and no wire accepted on an estimate alone: measure Tc and the critical current "
    "of the wire, under the strain it will see.",
    "X-rays injure without being felt: only trained people operate a diffractometer, with its interlocks working.",
    "Acids that free filaments belong in a fume cupboard, in trained hands; hydrogen from etching shifts lattices.",
    "Furnaces burn, tin leaks, vacuum and argon suffocate; cryogens burn and displace air.",
    "The rules of your laboratory and country, and licensed practice, come first.",
)

BRIEF = (
    "Design no coil and accept no wire on an estimate alone: measure Ic and Tc.",
    "X-rays and the acids that etch copper injure: follow local rules and licensed practice.",
)
"""The same in two lines, for the terminal."""
