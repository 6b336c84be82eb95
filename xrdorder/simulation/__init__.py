"""What would be measured? Patterns of a described specimen on a calibrated instrument, and whole studies of them.

`specimen_file` reads the description, `expected_pattern` gives the counts that the forward model of the fits expects,
`scans` draws Poisson counts and writes them with the truth beside them, `rehearsal` does so for all samples of a study.

This is the model that the fits use: for planning, teaching and demonstrations. It cannot judge the fits; patterns
that do are made by the independent generator of the tests.
"""

from xrdorder.simulation.expected_pattern import expected_pattern, settled_on
from xrdorder.simulation.scans import simulate_scan, write_scan
from xrdorder.simulation.specimen_file import Described, read_description

__all__ = ["Described", "expected_pattern", "read_description", "settled_on", "simulate_scan", "write_scan"]
