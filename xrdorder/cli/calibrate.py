"""Fit a certified powder: the instrument."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from xrdorder.cli.console import File, Part, show
from xrdorder.cli.named_files import PICTURE, save_figure
from xrdorder.cli.options import (
    ANY,
    EXISTING_FILE,
    NUMBERS,
    POSITIVE,
    geometry_options,
    given,
    reading_options,
    specimen_options,
)
from xrdorder.exceptions import InstrumentError
from xrdorder.files import read_bytes

if TYPE_CHECKING:
    from collections.abc import Sequence

    from xrdorder.exceptions import Flag
    from xrdorder.fitting import Calibration as FittedCalibration

FIRST_WORDS = "# Instrument, written by xrdorder"


@click.command()
@click.argument("patterns", metavar="PATTERN...", nargs=-1, required=True, type=EXISTING_FILE)
@click.option("--standard", required=True, help="Certified powder, as srm-660c or srm-640c; any other name lists all.")
@click.option("--detector-distance-mm", required=True, type=POSITIVE, help="Goniometer radius.")
@reading_options
@specimen_options
@geometry_options
@click.option("--monochromator-two-theta-deg", type=POSITIVE, help="Diffraction angle of a crystal monochromator.")
@click.option("--temperature-c", type=ANY, default=22.5, show_default=True, help="Temperature of the standard in °C.")
@click.option(
    "--standard-domain-size-nm",
    type=POSITIVE,
    help="Volume-weighted domain size of the standard; left out: that of its kind, within a factor of two.",
)
@click.option(
    "--standard-lattice-nm",
    type=NUMBERS,
    help="The laboratory's own lattice parameter of the standard at the temperature of its certificate (a, or a,c).",
)
@click.option(
    "--u-standard-lattice-nm",
    type=NUMBERS,
    help="Its standard uncertainty (k = 1); left out: that of the certificate.",
)
@click.option(
    "--out",
    type=click.Path(dir_okay=False, path_type=Path),
    default=Path("instrument.toml"),
    show_default=True,
    help="Instrument file to write.",
)
@click.option("--figure", type=PICTURE, help="Save a figure of the fit (png, pdf, svg).")
def calibrate(patterns: tuple[Path, ...], out: Path, figure: Path | None, **told: Any) -> None:
    """Fit a certified powder and write the instrument.

    Several PATTERN files are repeated scans or ranges of one specimen. The instrument file holds offset, widths, axial
    divergence and the share of K-alpha2, with uncertainties and correlations. Displacement and transparency
    belong to the specimen of the standard: they are reported, not stored.
    """
    from xrdorder.cli.fit_options import told_by_options
    from xrdorder.description.calibration import Calibration
    from xrdorder.files.checked_table import checked
    from xrdorder.profiles import write_instrument
    from xrdorder.running.instruments import fit_standard

    with told_by_options():
        calibration = checked(Calibration, {"pattern": list(patterns), **given(told)})
    _may_be_replaced(out)
    fitted = fit_standard(calibration)
    write_instrument(fitted.instrument, out)
    show(*_parts(fitted), "", File("Instrument", str(out)))
    if figure is not None:
        save_figure(fitted.plot(), figure)


def _parts(calibration: "FittedCalibration") -> list[Part]:
    """How good the fit is, the instrument with its uncertainties, the specimen of the standard, and advice."""
    from xrdorder.quantities.formatting import concise

    instrument, fit = calibration.instrument, calibration.fit
    lattice = " and ".join(f"{x:.8g}" for x in instrument.standard_lattice_nm)
    displacement = concise(calibration.displacement_mm, calibration.u_displacement_mm)
    return [
        f"Calibrated with {instrument.standard} ({lattice} nm at {instrument.temperature_c:g} °C): "
        f"R_wp {100.0 * fit.r_wp:.2f} %, reduced chi square {fit.chi2_reduced:.2f}",
        "",
        calibration.table(),
        "",
        f"Specimen of the standard, not stored: displacement {displacement} mm (correlation with the offset "
        f"{calibration.offset_displacement_correlation:.3f}), transparency {calibration.transparency_deg:.4f} degrees",
        *_advice(instrument.remarks, fit.flags),
    ]


def _advice(remarks: "Sequence[str]", flags: "Sequence[Flag]") -> list[str]:
    """Remarks of the instrument, each once: every fit with it carries them as flags, that of the standard too."""
    others = [flag for flag in flags if flag.message not in remarks]
    return [*(f"Advice: {remark}" for remark in remarks), *(f"Flag {other.name}: {other.message}" for other in others)]


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
