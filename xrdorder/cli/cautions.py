"""What must be said beside the numbers, in few words."""

from xrdorder.reports.cautions import ESTIMATES

__all__ = ["CAUTIONS", "ESTIMATES", "SUGGESTIONS"]

CAUTIONS = (
    f"{ESTIMATES} Design no coil and accept no wire on an estimate alone: measure Ic and Tc.",
    "X-rays and the acids that etch copper injure: follow local rules and licensed practice.",
)

SUGGESTIONS = (
    "Suggestions are places to look, worked out from the samples so far: no instruction to run a furnace, no ground to "
    "build a magnet on. Furnaces burn, tin leaks, argon and cryogens suffocate: the rules of your laboratory and of "
    "your furnace come first."
)
