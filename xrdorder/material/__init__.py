"""What the A15 is like: tin, order, domain size and strain from the quantities of a fit.

`characterise` does all of it for a `Specimen`. Each step stands in its own module: `lattice` (to 22.5 °C),
`tin` (which published line, and what speaks against it), `order` (dopants, the bound on tin), `tin_by_order`,
`widths`, `distribution` (graded layers, two populations), `depth` (what of it was seen), `niobium` (what the
metal beside it tells).
"""

from xrdorder.material.characterise import characterise
from xrdorder.material.material import Material
from xrdorder.material.specimen import CORRECTIONS, GAUGES, MOUNTS, Specimen
from xrdorder.material.tin import A15_FIELD
from xrdorder.material.tin_scale import PUBLISHED_SCALE, TinScale
from xrdorder.material.tin_scale_files import read_known_samples, read_tin_scale, write_tin_scale
from xrdorder.material.tin_scale_fit import FittedScale, KnownSamples, fit_tin_scale

__all__ = [
    "A15_FIELD",
    "CORRECTIONS",
    "GAUGES",
    "MOUNTS",
    "PUBLISHED_SCALE",
    "FittedScale",
    "KnownSamples",
    "Material",
    "Specimen",
    "TinScale",
    "characterise",
    "fit_tin_scale",
    "read_known_samples",
    "read_tin_scale",
    "write_tin_scale",
]
