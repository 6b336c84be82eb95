"""The diffractometer as its calibration found it, and the file that keeps it."""

import hashlib
import json
import math
import os
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from xrdorder.exceptions import InstrumentError
from xrdorder.files import read_text, toml_table
from xrdorder.profiles.voigt import fwhm as voigt_fwhm
from xrdorder.profiles.width_terms import gauss_basis, lorentz_basis

Array = NDArray[np.float64]

INSTRUMENT_PARAMETERS: dict[str, tuple[str, str]] = {
    "two_theta_offset": ("degree", "zero error of the goniometer; added to every Bragg angle"),
    "gauss_tan2": ("degree^2", "squared Gaussian full width: coefficient of tan^2(theta)"),
    "gauss_tan": ("degree^2", "squared Gaussian full width: coefficient of tan(theta)"),
    "gauss_const": ("degree^2", "squared Gaussian full width: constant term"),
    "lorentz_sec": ("degree", "Lorentzian full width: coefficient of 1/cos(theta)"),
    "lorentz_tan": ("degree", "Lorentzian full width: coefficient of tan(theta)"),
    "axial_source_ratio": ("1", "half height of the source over the detector distance"),
    "axial_detector_ratio": ("1", "half height of the detector opening over the detector distance"),
    "alpha2_ratio": ("1", "intensity of K-alpha2 over K-alpha1"),
}
"""Unit and meaning of each instrument parameter, in the order of the covariance."""

INSTRUMENT_NAMES = tuple(INSTRUMENT_PARAMETERS)

GEOMETRIES = ("reflection", "transmission", "capillary")

_LENGTHS_AND_ANGLES = (
    "divergence_deg", "specimen_length_mm", "monochromator_two_theta_deg", "illuminated_length_mm",
)  # fmt: skip
_SHIFTS = ("certificate_shift", "wavelength_shift", "domains_shift")


@dataclass(frozen=True)
class Instrument:
    """A diffractometer.

    Parameters
    ----------
    radiation
        Name of the radiation, as `xrdorder.xrays.radiation` takes it.
    detector_distance_mm
        Distance from specimen to detector slit (goniometer radius).
    values
        The parameters of `INSTRUMENT_PARAMETERS`.
    covariance
        Their covariance from the calibration, in the same order, shape (9, 9); zero rows for what was held.
    certificate_shift, wavelength_shift, domains_shift
        What one standard uncertainty of the certified lattice parameter (of the wavelength, of the width that the
        standard's own domains make) would do to the parameters, shape (9,): errors that all samples measured with this
        calibration share.
    monochromator_two_theta_deg
        Diffraction angle of a crystal monochromator, if there is one.
    divergence_deg, specimen_length_mm
        Opening of the fixed divergence slit, which samples share, and length of the standard's specimen along the
        beam, which they do not; as far as known.
    illuminated_length_mm
        Length that a variable divergence slit keeps lit, in place of a fixed slit.
    polarisation_ratio
        Intensity polarised in the diffraction plane over that across it, where the beam is known to be polarised;
        in place of a monochromator.
    geometry, focused
        ``reflection``, ``transmission`` or ``capillary``, and whether the beam on a capillary is focused on the
        detector circle.
    standard, standard_lattice_nm, temperature_c
        What was measured to calibrate, the lattice parameters it was given, and how warm it was.
    remarks
        Warnings of the calibration, carried along with every use.
    """

    radiation: str
    detector_distance_mm: float
    values: Mapping[str, float]
    covariance: Array = field(repr=False)
    certificate_shift: Array = field(repr=False)
    wavelength_shift: Array = field(repr=False)
    domains_shift: Array = field(repr=False)
    monochromator_two_theta_deg: float | None = None
    divergence_deg: float | None = None
    specimen_length_mm: float | None = None
    standard: str = ""
    standard_lattice_nm: tuple[float, ...] = ()
    temperature_c: float = 22.5
    illuminated_length_mm: float | None = None
    polarisation_ratio: float | None = None
    geometry: str = "reflection"
    focused: bool = False
    remarks: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Refuse what no calibration can have given."""
        n = len(INSTRUMENT_NAMES)
        if tuple(self.values) != INSTRUMENT_NAMES:
            raise InstrumentError(
                f"instrument: needs exactly the parameters {', '.join(INSTRUMENT_NAMES)}, in that order"
            )
        for name, value in self.values.items():
            if not math.isfinite(value):
                raise InstrumentError(f"instrument: {name} = {value} is not a number; calibrate again")
        if not self.detector_distance_mm > 0.0:
            raise InstrumentError(
                f"instrument: detector_distance_mm = {self.detector_distance_mm} must be positive (goniometer radius)"
            )
        for name in _LENGTHS_AND_ANGLES:
            value = getattr(self, name)
            if value is not None and not value > 0.0:
                raise InstrumentError(
                    f"instrument: {name} = {value} must be positive, or left out when unknown"
                )
        if self.geometry not in GEOMETRIES:
            raise InstrumentError(
                f"instrument: geometry '{self.geometry}' is not known; use one of {', '.join(GEOMETRIES)}"
            )
        ratio = self.polarisation_ratio
        if ratio is not None and not 0.0 <= ratio <= 1.0:
            raise InstrumentError(f"instrument: polarisation_ratio = {ratio} must lie between 0 and 1")
        if self.divergence_deg is not None and self.illuminated_length_mm is not None:
            raise InstrumentError(
                "instrument: divergence_deg (a fixed slit) and illuminated_length_mm (a variable one) are both given; "
                "give the one that was in the beam"
            )
        if (
            self.covariance.shape != (n, n)
            or any(getattr(self, name).shape != (n,) for name in _SHIFTS)
        ):
            raise InstrumentError(
                f"instrument: covariance must be {n} by {n} and the shifts {n} long; calibrate again"
            )

    @property
    def id(self) -> str:
        """Short hash of the content: samples with the same id share the errors of one calibration."""
        # the values are written with all digits and say which calibration it was; the covariance is rounded in the file
        left_out = ("covariance", *_SHIFTS)
        content = {name: value for name, value in vars(self).items() if name not in left_out}
        content["values"] = dict(self.values)
        return hashlib.sha256(json.dumps(content, sort_keys=True).encode()).hexdigest()[:12]

    def uncertainty(self, name: str) -> float:
        """Return the standard uncertainty of one parameter from the counts of the calibration."""
        k = INSTRUMENT_NAMES.index(name)
        return float(np.sqrt(self.covariance[k, k]))

    def fwhm(self, two_theta: ArrayLike, part: str = "") -> Array:
        """Full width at half maximum that it gives a line, degrees, without emission lines and axial divergence.

        Parameters
        ----------
        two_theta : array_like
            Diffraction angle, degrees.
        part : str
            "Gaussian" or "Lorentzian": that part alone.
        """
        theta = np.radians(0.5 * np.asarray(two_theta, dtype=np.float64))
        gauss, lorentz = (
            np.maximum(sum(self.values[name] * along for name, along in basis.items()), 0.0)
            for basis in (gauss_basis(theta), lorentz_basis(theta))
        )
        return voigt_fwhm(gauss * (part != "Lorentzian"), lorentz * (part != "Gaussian"))

    def total(self, name: str) -> float:
        """Return the standard uncertainty of one parameter: counts and what the standard and the radiation add."""
        k = INSTRUMENT_NAMES.index(name)
        return math.hypot(self.uncertainty(name), *(getattr(self, shift)[k] for shift in _SHIFTS))


_OPTIONAL = (*_LENGTHS_AND_ANGLES, "polarisation_ratio")
_REQUIRED = (
    "radiation",
    "detector_distance_mm",
    "standard",
    "standard_lattice_nm",
    "temperature_c",
    "geometry",
    "focused",
)


def write_instrument(instrument: Instrument, path: str | Path) -> None:
    """Write an instrument as a commented TOML file, atomically.

    Raises
    ------
    InstrumentError
        If the file cannot be written.
    """
    lines = [
        "# Instrument, written by xrdorder calibrate. Every number may be read; change none by hand, calibrate again.",
        "",
    ]
    for name in _REQUIRED:
        lines.append(f"{name} = {_toml(getattr(instrument, name))}")
    for name in _OPTIONAL:
        value = getattr(instrument, name)
        lines.append(f"# {name}: not known" if value is None else f"{name} = {_toml(value)}")
    lines += [f"remarks = {_toml(instrument.remarks)}", "", "[values]"]
    for name, (unit, meaning) in INSTRUMENT_PARAMETERS.items():
        u = instrument.total(name)
        how = f"u = {u:.2g}" if u > 0.0 else "held"
        lines.append(f"{name} = {_toml(instrument.values[name])}  # {unit}; {how}; {meaning}")
    lines += [
        "",
        "[errors]",
        "# Standard uncertainties of the values above and their correlations, from the counts of the calibration alone",
        "# (u behind the values holds certificate and wavelength as well);",
        "# rows and columns in the order of [values], a row of zeros for what was held.",
        f"names = {_toml(INSTRUMENT_NAMES)}",
    ]
    u_all = np.sqrt(np.diag(instrument.covariance))
    scale = np.where(u_all > 0.0, u_all, 1.0)
    correlation = instrument.covariance / np.outer(scale, scale)
    lines.append(f"standard_uncertainty = {_toml(u_all.tolist())}")
    lines.append("correlation = [")
    lines += [f"    {_toml([round(c, 12) for c in row])}," for row in correlation.tolist()]
    lines += [
        "]",
        "# What one standard uncertainty of the certified lattice parameter, of the wavelength, or of the width that",
        "# the standard's own domains make, does to the values.",
        *(f"{name} = {_toml(getattr(instrument, name).tolist())}" for name in _SHIFTS),
        "",
    ]
    path = Path(path)
    temporary = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        temporary.write_text("\n".join(lines), encoding="utf-8")
        os.replace(temporary, path)
    except OSError as error:
        temporary.unlink(missing_ok=True)
        raise InstrumentError(
            f"{path}: cannot be written ({error.strerror}); choose another place with --out"
        ) from error


def read_instrument(path: str | Path) -> Instrument:
    """Read an instrument file.

    Raises
    ------
    InstrumentError
        If the file is missing, is not TOML, or lacks something; the message says what and where.
    """
    path = Path(path)
    try:
        content = toml_table(read_text(path))
    except FileNotFoundError as error:
        raise InstrumentError(f"{path}: no such instrument file; make one with xrdorder calibrate") from error
    except UnicodeDecodeError as error:
        raise InstrumentError(f"{path}: is no text in UTF-8; calibrate again") from error
    except OSError as error:
        raise InstrumentError(f"{path}: cannot be read ({error.strerror}); name an instrument file") from error
    except tomllib.TOMLDecodeError as error:
        raise InstrumentError(f"{path}: not a valid TOML file ({error}); calibrate again") from error
    try:
        errors = content["errors"]
        plain: dict[str, Any] = {name: content[name] for name in _REQUIRED if name != "standard_lattice_nm"}
        plain |= {name: content.get(name) for name in _OPTIONAL}
        u_all = np.array(errors["standard_uncertainty"], dtype=float)
        correlation = np.array(errors["correlation"], dtype=float)
        return Instrument(
            values={name: float(content["values"][name]) for name in INSTRUMENT_NAMES},
            covariance=correlation * np.outer(u_all, u_all),
            certificate_shift=np.array(errors["certificate_shift"], dtype=float),
            wavelength_shift=np.array(errors["wavelength_shift"], dtype=float),
            domains_shift=np.array(errors["domains_shift"], dtype=float),
            standard_lattice_nm=tuple(content["standard_lattice_nm"]),
            remarks=tuple(content.get("remarks", ())),
            **plain,
        )
    except KeyError as error:
        raise InstrumentError(f"{path}: entry {error} is missing; name a file that xrdorder calibrate wrote") from error
    except (TypeError, ValueError) as error:
        raise InstrumentError(f"{path}: {error}") from error


def _toml(value: Any) -> str:
    """Write a plain value as TOML; floats keep all their digits."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_toml(v) for v in value) + "]"
    return repr(float(value)) if isinstance(value, (float, np.floating)) else repr(value)
