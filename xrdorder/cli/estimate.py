"""From numbers alone."""

import click

from xrdorder.cli.options import ANY, POSITIVE, dopant_option


@click.command()
@click.option("--lattice-nm", type=POSITIVE, help="Lattice parameter of the A15, free of strain, in nm.")
@click.option("--u-lattice-nm", type=POSITIVE, help="Its standard uncertainty (k = 1).")
@click.option("--site-order", type=ANY, help="Site order r_a + r_b - 1 (4 beta S_a in an undoped wire).")
@click.option("--u-site-order", type=POSITIVE, help="Its standard uncertainty.")
@click.option("--tin-at-percent", type=POSITIVE, help="Tin content where it is known otherwise, in at.%.")
@click.option("--u-tin-at-percent", type=POSITIVE, help="Its standard uncertainty.")
@click.option("--temperature-c", type=ANY, help="Temperature of the lattice parameter in °C; left out: 22.5.")
@dopant_option
@click.option("--brief", is_flag=True, help="Leave out the list of relations and their sources.")
def estimate(
    lattice_nm: float | None,
    u_lattice_nm: float | None,
    site_order: float | None,
    u_site_order: float | None,
    tin_at_percent: float | None,
    u_tin_at_percent: float | None,
    temperature_c: float | None,
    dopants: dict[str, float],
    brief: bool,
) -> None:
    """Estimate tin, S_a, S_b, Tc and Bc2 from a lattice parameter, a site order, a tin content, or several.

    Every published relation stands in a line of its own, with the range it is valid in; outside it a relation is not
    asked and the reason is given.
    """
    from xrdorder.cli.tables import estimate_text
    from xrdorder.superconductivity import estimate as estimate_from

    found = estimate_from(
        lattice_nm=lattice_nm,
        u_lattice_nm=u_lattice_nm,
        site_order=site_order,
        u_site_order=u_site_order,
        tin_fraction=None if tin_at_percent is None else tin_at_percent / 100.0,
        u_tin_fraction=None if u_tin_at_percent is None else u_tin_at_percent / 100.0,
        temperature_c=temperature_c,
        dopants={element: content / 100.0 for element, content in dopants.items()},
    )
    click.echo(estimate_text(found, brief=brief))
