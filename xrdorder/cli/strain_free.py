"""The strain-free lattice from several directions of the wire."""

from pathlib import Path

import click

from xrdorder.cli.console import Entry, show
from xrdorder.cli.options import EXISTING_FILE, POSITIVE

_SCATTERS = 1.5  # times as much as they should: by chance in one of twenty with three directions left over


@click.command("strain-free")
@click.argument("directions", metavar="DIRECTIONS.csv", type=EXISTING_FILE)
@click.option("--poisson", type=POSITIVE, help="Poisson's ratio of the A15; left out: 0.36.")
@click.option("--u-poisson", type=POSITIVE, help="Its standard uncertainty; left out: 0.03.")
def strain_free(directions: Path, poisson: float | None, u_poisson: float | None) -> None:
    """Find the strain-free lattice from two or more directions.

    DIRECTIONS.csv has the columns angle_deg (between scattering vector and wire axis: 0 for a section, 90 for wires
    laid flat), a_nm and u_a_nm (the part of the standard uncertainty that the directions do not share). The strain
    printed for each direction may be given as the strain of the sample measured that way.
    """
    from xrdorder.material.lattice_strain import POISSON, U_POISSON
    from xrdorder.material.strain_free import read_directions, strain_free_from_tilts
    from xrdorder.quantities.formatting import concise, with_sign
    from xrdorder.quantities.tables import Table

    angles, a, u = read_directions(directions)
    result = strain_free_from_tilts(
        angles, a, u, POISSON if poisson is None else poisson, U_POISSON if u_poisson is None else u_poisson
    )
    head = (("angle", "deg"), ("a", "nm"), ("strain", "%"), ("off the line", "over its u"))
    rows = []
    for angle, length, u_length, pull in zip(angles, a, u, result.pulls, strict=True):
        strain, u_strain = result.strain_at(float(angle))
        percent = concise(100 * strain, 100 * u_strain)
        rows.append((f"{angle:g}", concise(length, u_length), percent, with_sign(pull, ".1f")))
    show(
        Entry("Strain-free", f"a = {concise(result.a_nm, result.u_a_nm)} nm"),
        Entry("Axial strain", f"{concise(100 * result.axial_strain, 100 * result.u_axial_strain)} %"),
        "",
        Table.of(head, rows),
        "",
    )
    if result.axial_strain > 0.0:
        show("Tension along the wire: copper presses the A15; check that angles were not exchanged.")
    if result.enlarged > _SCATTERS:
        show(
            f"Directions scatter about the line {result.enlarged:.1f} times as much as their u: uncertainties are "
            "enlarged by that; look for one that is wrong."
        )
    if len(angles) == 2:
        show("Two directions leave nothing to check the line with.")
    show("In study.toml, for the sample measured at")
    for angle in dict.fromkeys(float(angle) for angle in angles):
        strain, u_strain = result.strain_at(angle)
        show(f"  {angle:g} degrees:  strain = {strain:.3g}, u_strain = {u_strain:.2g}")
