"""A laboratory's own line from lattice parameter to tin."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from xrdorder.cli.console import File, Part, show
from xrdorder.cli.named_files import NEW_FILE
from xrdorder.cli.options import EXISTING_FILE, POSITIVE
from xrdorder.quantities.formatting import rounded, with_sign

if TYPE_CHECKING:
    from xrdorder.material import FittedScale


@click.command("tin-scale")
@click.argument("samples", metavar="SAMPLES.csv", type=EXISTING_FILE)
@click.option("--out", type=NEW_FILE, help="New scale file to write, as scale.toml.")
@click.option(
    "--name", help="Name under which results quote the scale; left out: that of the file, without its ending."
)
@click.option("--source", default="", help="Who measured what, and how; kept with the scale.")
@click.option(
    "--u-common-at-percent",
    type=POSITIVE,
    help="Standard uncertainty of tin common to all samples, as that of the standards of a microprobe; left out: 0.25.",
)
@click.option(
    "--own-slope", is_flag=True, help="Take the slope from the samples alone; left out, the published one takes part."
)
def tin_scale(
    samples: Path, out: Path | None, name: str | None, source: str, u_common_at_percent: float | None, own_slope: bool
) -> None:
    """Fit a line a(tin) to samples of known composition.

    SAMPLES.csv has the columns sample, a_nm, u_a_nm, tin_at_percent, u_tin_at_percent: strain-free A15 at 22.5 °C,
    measured like the samples to be judged, with standard uncertainties (k = 1). The fit allows for errors in both. Tin
    read from the scale is then as sure as the samples it was fitted to, and comparable with their composition.
    """
    from xrdorder.material import fit_tin_scale, read_known_samples, write_tin_scale
    from xrdorder.material.tin_scale_files import check_scale_name
    from xrdorder.material.tin_scale_fit import U_TIN_COMMON

    name = (out or samples).stem if name is None else name
    check_scale_name(name)
    known = read_known_samples(samples)
    scale = fit_tin_scale(
        known.a_nm,
        known.u_a_nm,
        known.tin,
        known.u_tin,
        name=name,
        names=known.names,
        u_tin_common=U_TIN_COMMON if u_common_at_percent is None else u_common_at_percent / 100.0,
        published_slope=not own_slope,
        source=source,
    )
    if out is not None:
        write_tin_scale(scale.scale, out)
    show(*_parts(scale))
    if out is not None:
        show("", File("Scale", str(out)))


def _parts(fitted: "FittedScale") -> list[Part]:
    """The scale beside the published one, and every sample against it."""
    from xrdorder.material import PUBLISHED_SCALE
    from xrdorder.quantities.formatting import concise
    from xrdorder.quantities.tables import Table

    own, published, known = fitted.scale, PUBLISHED_SCALE, fitted.samples
    u_level = own.covariance[0][0] ** 0.5
    shift = 1e3 * (own.a_at_24_nm - published.a_at_24_nm)
    scales = [
        (
            scale.name,
            concise(scale.a_at_24_nm, scale.covariance[0][0] ** 0.5),
            concise(10.0 * scale.slope_nm, 10.0 * scale.u_slope_nm),
            f"{100 * scale.u_level(0.24):.2f}",
            f"{100 * scale.u_level(0.20):.2f}",
        )
        for scale in (own, published)
    ]
    columns = known.names, known.a_nm, known.u_a_nm, known.tin, known.u_tin, fitted.residuals_nm, fitted.pulls
    samples = [
        (
            sample, concise(a, u_a), concise(100 * tin, 100 * u_tin),
            with_sign(1e3 * residual, ".3f"), with_sign(pull, ".1f"),
        )
        for sample, a, u_a, tin, u_tin, residual, pull in zip(*columns, strict=True)
    ]  # fmt: skip
    tin_at = (("a at 24 at.%", "nm"), ("slope", "pm/at.%"), ("u(tin) at 24 at.%", "at.%"), ("at 20 at.%", "at.%"))
    parts: list[Part] = [
        f"At 24 at.% the scale lies {rounded(shift, 1e3 * u_level, 'pm', signed=True)} from the published line.",
        "",
        Table.of(["scale", *tin_at], scales),
        "",
        Table.of(["sample", ("a", "nm"), ("tin", "at.%"), ("off the line", "pm"), ("over its u", "")], samples),
        "",
    ]
    if fitted.chi2_reduced == fitted.chi2_reduced:
        enlarged = ", which enlarges the uncertainty" if fitted.chi2_reduced > 1.0 else ""
        parts.append(f"Reduced chi squared {fitted.chi2_reduced:.2f}{enlarged}.")
    low, high = 100 * float(known.tin.min()), 100 * float(known.tin.max())
    parts.append(f"Samples span {low:.1f} to {high:.1f} at.% tin; beyond, the slope decides.")
    for sample in fitted.outliers:
        parts.append(f"Off by more than three standard uncertainties: {sample}; is it one phase, and free of strain?")
    return parts
