"""What the sources of uncertainty are, in words: one family each."""

FAMILIES = {
    "counting": "counting statistics, enlarged where residuals hang together; with all the fit found out itself",
    "calibration": "instrument as calibrated: offset of the angles, line shape",
    "certificate": "lattice parameter certified for the standard",
    "domains of the standard": "size of the standard's own domains, which nobody told",
    "size distribution": "how the sizes of domains are distributed",
    "smoothing": "what smoothing of the scan does to the lines",
    "internal standard": "lattice parameter certified for the powder mixed in",
    "wavelength": "wavelength of the emission lines",
    "scattering table": "f' and f'' by different tables",
    "charge transfer": "electrons that go from niobium to tin, and change what they scatter",
    "displacement parameters": "thermal displacement of the atoms",
    "two-theta offset": "zero of the goniometer, which may have moved since it was calibrated",
    "specimen displacement": "place of the specimen, found by the fit",
    "lattice distribution": "form of the distribution of the lattice parameter",
    "line positions": "single lines that lie off the fit by more than counting",
    "line areas": "single lines that are stronger or weaker than the fit by more than counting",
    "line width": "width of lines too weak to tell it",
    "illuminated length": "share of the beam that met the specimen",
    "microabsorption": "absorption within grains of unknown size",
    "strain gauge": "lattice of the metal that tells the strain",
    "niobium or tantalum": "one phase for both metals, whose shares the pattern cannot tell",
    "texture": "preferred orientation",
    "phases not found": "phases that were asked for, up to the limit below which they may be there",
    "temperature": "temperature of the specimen",
    "thermal expansion": "expansion coefficient",
    "dopant content": "how much dopant the A15 holds",
    "dopant site": "share of the dopant on the tin site",
    "dopant lattice effect": "change of the lattice parameter by dopants",
    "strain state": "strain left in the wire",
    "usual order": "prior of S_a",
    "a(tin) scale": "laboratories disagree about a at known tin content",
    "a(tin) slope": "two published lines a(tin) differ in slope",
    "a(tin) scatter": "single specimens stray from the line",
}
"""Families of sources in words."""

OWN_LINE = {
    "a(tin) scale": "level of the laboratory's own line a(tin), from the samples it was fitted to",
    "a(tin) slope": "slope of the laboratory's own line a(tin), from the samples it was fitted to",
}
"""Families that mean something else where tin is read from a line of one's own."""

KINDS = {
    ("displacement parameters", True): ("fitted", "fitted to this pattern beside the quantity"),
    ("displacement parameters", False): ("held", "held at the values of the catalogue, as in all samples"),
    ("size distribution", True): ("independent", "by how much samples differ in it"),
    ("size distribution", False): ("shared", "as in all samples"),
}
"""What a family is called and means by whether it is private to the sample, where that makes another thing of it."""
