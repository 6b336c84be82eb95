"""Fit a certified powder: the instrument."""

from pathlib import Path
from typing import Any

import click

from xrdorder.cli.named_files import PICTURE
from xrdorder.cli.options import (
    ANY,
    EXISTING_FILE,
    POSITIVE,
    Numbers,
    geometry_options,
    given,
    reading_options,
    specimen_options,
)
from xrdorder.exceptions import InstrumentError
from xrdorder.files import read_bytes

FIRST_WORDS = "# Instrument, written by xrdorder"


@click.command()
@click.argument("patterns", metavar="PATTERN...", nargs=-1, required=True, type=EXISTING_FILE)
@click.option(
    "--standard", required=True, help="Certified powder, as srm-660c or srm-640c; any other name lists all."
)
@click.option("--detector-distance-mm", required=True, type=POSITIVE, help="Goniometer radius.")
@reading_options
@specimen_options
@geometry_options
@click.option(
    "--monochromator-two-theta-deg", type=POSITIVE, help="Diffraction angle of a crystal monochromator."
)
@click.option(
    "--temperature-c", type=ANY, default=22.5, show_default=True, help="Temperature of the standard in °C."
)
@click.option(
    "--standard-domain-size-nm",
    type=POSITIVE,
    help="Volume-weighted domain size of the standard; left out: that of its kind, within a factor of two.",
)
@click.option(
    "--standard-lattice-nm",
    type=Numbers(),
    help="The laboratory's own lattice parameter of the standard at the temperature of its certificate (a, or a,c).",
)
@click.option(
    "--u-standard-lattice-nm",
    type=Numbers(),
    help="Its standard uncertainty (k = 1); left out: that of the certificate.",
)
@click.option(
    "--out",
    type=click.Path(dir_okay=False, path_type=Path),
    default=Path("instrument.toml"),
    show_default=True,
    help="Instrument file to write.",
)
@click.option(
    "--figure",
    type=PICTURE,
    help="Save a figure of the fit (png, pdf, svg).",
)
def calibrate(
    patterns: tuple[Path, ...],
    out: Path,
    figure: Path | None,
    **told: Any,
) -> None:
    """Fit the PATTERN of a certified powder and write the instrument.

    Several files are repeated scans or ranges of one specimen. The instrument file holds offset, widths, axial
    divergence and the share of K-alpha2, with uncertainties and correlations. Displacement and transparency
    belong to the specimen of the standard: they are reported, not stored.
    """
    from xrdorder.cli.fit_options import told_by_options
    from xrdorder.cli.tables import calibration_text
    from xrdorder.description.calibration import Calibration
    from xrdorder.description.table import checked
    from xrdorder.profiles import write_instrument
    from xrdorder.running.calibration import fit_standard

    with told_by_options():
        calibration = checked(Calibration, {"pattern": list(patterns), **given(told)})
    _may_be_replaced(out)
    found = fit_standard(calibration)
    write_instrument(found.instrument, out)
    click.echo(calibration_text(found))
    click.echo(f"\nInstrument   {out}")
    if figure is not None:
        from xrdorder.cli.drawing import save
        from xrdorder.figures import fit_figure

        fit = found.fit
        remark = f"{calibration.standard} · R_wp {100 * fit.r_wp:.1f} % · reduced χ² {fit.chi2_reduced:.2f}"
        save(fit_figure(fit.curves, fit.lines, fit.phases, title="Calibration", remark=remark), figure)
        click.echo(f"Figure       {figure}")


def _may_be_replaced(out: Path) -> None:
    """Refuse to write where there is no folder, or over a file that is not an instrument."""
    if not out.absolute().parent.is_dir():
        raise InstrumentError(f"{out}: there is no folder {out.parent}; make it, or choose another --out")
    try:
        if read_bytes(out).startswith(FIRST_WORDS.encode()):
            return
    except FileNotFoundError:
        return
    except OSError as error:
        raise InstrumentError(f"{out}: cannot be written ({error.strerror}); choose another --out") from error
    raise InstrumentError(f"{out}: is there already and is no instrument file; choose another --out")
