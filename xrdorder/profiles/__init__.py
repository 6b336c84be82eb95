"""What is the shape of a line, and of all lines together?

`voigt` gives one line and its derivatives, `axial` its lean at low angle, `widths` how wide it is at which angle,
`summation` the sum of all lines over a pattern, `instrument` the diffractometer that a calibration found.
"""

from xrdorder.profiles.instrument import INSTRUMENT_NAMES, Instrument, read_instrument, write_instrument

__all__ = ["INSTRUMENT_NAMES", "Instrument", "read_instrument", "write_instrument"]
