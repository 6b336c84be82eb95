"""Fit a whole pattern without a user: which phases, where, how much, how well ordered."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import xarray as xr

from xrdorder.crystals import DEFAULT_PHASES, A15Composition, Phase, doped, phase
from xrdorder.crystals.standards import Standard
from xrdorder.crystals.standards import standard as standard_named
from xrdorder.exceptions import FitError, InstrumentError
from xrdorder.fitting.effects import EFFECTS
from xrdorder.fitting.niobium_tantalum import merge_niobium_tantalum
from xrdorder.fitting.options import FitOptions
from xrdorder.fitting.pattern_fit import assemble
from xrdorder.fitting.procedure import Procedure, source_name
from xrdorder.fitting.result import PatternFit
from xrdorder.forward_model.geometry import Geometry
from xrdorder.forward_model.phase_lines import Optics
from xrdorder.profiles import Instrument
from xrdorder.xrays import GEMMI_TABLE, Radiation, ScatteringTable, radiation
from xrdorder.xrays.scattering import MeasuredDispersion

DEFAULT_COMPOSITION = A15Composition(tin_fraction=0.24, site_order=0.93, dopants={}, on_tin_site={})
"""Composition whose mean scattering is assumed in the fit, the middle of what wires have (no source): strong lines
hardly feel it, and what they feel is put right afterwards (`PatternFit.by_tin`)."""


def fit_pattern(
    pattern: xr.DataArray,
    instrument: Instrument,
    *,
    phases: Sequence[str | Path | Phase] = DEFAULT_PHASES,
    composition: A15Composition | None = None,
    specimen_length_mm: float | None = None,
    divergence_deg: float | None = None,
    internal_standard: str | Standard | None = None,
    temperature_c: float = 22.5,
    engine: str = "own",
    table: ScatteringTable = GEMMI_TABLE,
    options: FitOptions | None = None,
) -> PatternFit:
    """Fit one pattern; nothing needs tuning.

    Parameters
    ----------
    pattern
        Counts over 2 theta from `xrdorder.patterns.read_pattern`.
    instrument
        From `calibrate` or `read_instrument`.
    phases
        Catalogue names, paths of CIF or phase files, or `Phase` objects. The A15 if among them, else the first, is the
        main phase: its displacement parameters are fitted too.
    composition
        Tin and dopants that set the mean scattering of the A15 (default: undoped, 24 at.% tin).
    specimen_length_mm
        Length of the specimen along the beam; that of the standard's says nothing about it.
    divergence_deg
        Fixed slit, where it differs from the instrument's.
    internal_standard
        Certified powder mixed into the specimen: its lattice is held, and the offset comes from the specimen itself.
        It takes no part in weight fractions.
    temperature_c
        How warm the specimen was; sets the lattice of the internal standard.
    engine
        ``"own"`` or ``"scipy"``.
    table
        Scattering factors.
    options
        What there is to choose; nothing needs to be.

    Raises
    ------
    InstrumentError
        The pattern names another radiation or geometry than the instrument.
    FitError
        No phase has a line in the range, there are fewer points than parameters, or no minimum is found with the
        evaluations a fit may take.
    PhaseError, UnknownNameError
        A phase cannot be found or read.
    """
    job = prepare(
        pattern,
        instrument,
        phases=phases,
        composition=composition,
        specimen_length_mm=specimen_length_mm,
        divergence_deg=divergence_deg,
        internal_standard=internal_standard,
        temperature_c=temperature_c,
        engine=engine,
        table=table,
        options=options,
    )
    job.search()
    job.refine(EFFECTS)
    return assemble(job, instrument, composition or DEFAULT_COMPOSITION)


def prepare(
    pattern: xr.DataArray,
    instrument: Instrument,
    *,
    phases: Sequence[str | Path | Phase] = DEFAULT_PHASES,
    composition: A15Composition | None = None,
    specimen_length_mm: float | None = None,
    divergence_deg: float | None = None,
    internal_standard: str | Standard | None = None,
    temperature_c: float = 22.5,
    engine: str = "own",
    table: ScatteringTable = GEMMI_TABLE,
    options: FitOptions | None = None,
) -> Procedure:
    """Put a fit together without a step of it done; arguments and errors as of `fit_pattern`.

    Returns
    -------
    Procedure
        Model of the pattern with the parameters of the instrument, all else where the catalogue has it.
    """
    chosen = [p if isinstance(p, Phase) else phase(p) for p in phases]
    if not chosen:
        raise FitError("fit: no phase given; name at least one with --phases")
    certificate = None
    if internal_standard is not None:
        certificate = (
            internal_standard
            if isinstance(internal_standard, Standard)
            else standard_named(internal_standard)
        )
        lengths = certificate.lengths_at(temperature_c)
        powder = phase(certificate.phase)
        chosen.append(replace(powder, lengths_nm=lengths, lengths_low_nm=lengths, lengths_high_nm=lengths))
    names = [p.name for p in chosen]
    for name in names:
        if names.count(name) > 1:
            raise FitError(f"fit: phase '{name}' is given twice; name each phase once")
    require_geometry(pattern, instrument.geometry)
    light = instrument_radiation(instrument, pattern)
    ordered = [p for p in chosen if p.order is not None]
    a15 = ordered[0].name if ordered else None
    if a15 is not None:
        chosen = [doped(p, composition or DEFAULT_COMPOSITION) if p.name == a15 else p for p in chosen]
    chosen = merge_niobium_tantalum(chosen)
    options = options or FitOptions()
    if options.measured_dispersion:
        table = MeasuredDispersion(table, options.measured_dispersion)
    geometry = sample_geometry(instrument, divergence_deg, specimen_length_mm, options)
    optics = Optics(
        light, geometry, instrument.monochromator_two_theta_deg, table, instrument.polarisation_ratio
    )
    main = a15 or chosen[0].name
    return Procedure(pattern, optics, chosen, main, instrument.values, engine, certificate, options)


def instrument_radiation(instrument: Instrument, pattern: xr.DataArray) -> Radiation:
    """Radiation of the instrument, checked against what the pattern says of itself.

    Raises
    ------
    InstrumentError
        They differ by more than 0.1 %.
    """
    light = radiation(instrument.radiation)
    measured_nm = pattern.attrs.get("wavelength_nm")
    if measured_nm is not None and abs(float(measured_nm) / light.wavelength_nm - 1.0) > 1e-3:
        raise InstrumentError(
            f"{source_name(pattern)}: measured with {float(measured_nm):.6f} nm, but the instrument was "
            f"calibrated with {instrument.radiation} ({light.wavelength_nm:.6f} nm); calibrate with the same radiation"
        )
    return light


def require_geometry(pattern: xr.DataArray, geometry: str) -> None:
    """Check that the pattern was measured in the geometry of the instrument.

    Raises
    ------
    InstrumentError
        It says otherwise of itself: other shifts, other absorption.
    """
    measured_in = pattern.attrs.get("geometry") or geometry
    if measured_in != geometry:
        raise InstrumentError(
            f"{source_name(pattern)}: measured in {measured_in}, but the instrument was calibrated in {geometry}; "
            "calibrate in the same geometry, or correct it if the file names it wrongly"
        )


def sample_geometry(
    instrument: Instrument,
    divergence_deg: float | None,
    specimen_length_mm: float | None,
    options: FitOptions,
) -> Geometry:
    """Geometry of a sample on an instrument: its own slit if given, its own length and absorption.

    Raises
    ------
    InstrumentError
        A fixed slit is given for an instrument with a variable one.
    """
    slit = divergence_deg if divergence_deg is not None else instrument.divergence_deg
    if instrument.illuminated_length_mm is not None and divergence_deg is not None:
        raise InstrumentError(
            "fit: a divergence is given, but the instrument was calibrated with a variable slit; give one of the two"
        )
    return Geometry(
        instrument.detector_distance_mm,
        slit,
        specimen_length_mm,
        kind=instrument.geometry,
        illuminated_length_mm=instrument.illuminated_length_mm,
        roughness=options.roughness,
        mu_t=options.mu_t,
        mu_r=options.mu_r,
        focused=instrument.focused,
    )
