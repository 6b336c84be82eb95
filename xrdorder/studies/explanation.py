"""Where a number comes from: everything that stands behind one stored result, fit for a referee.

`explain` works on a stored sample alone, `explain_stored` finds it in a study folder. Nothing is fitted again, and the
description of the study is not needed: a result can be explained years later from its file. Which other samples share a
source is looked up in the collated results, where they are still there.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from xrdorder import __version__
from xrdorder.exceptions import StudyError, UnknownNameError
from xrdorder.relations import LABELS, relation
from xrdorder.studies.asked import quantity_asked
from xrdorder.studies.collate import RESULTS_NC
from xrdorder.studies.derivations import Step, Stored, fitted_parameter, steps
from xrdorder.studies.modelled import model_words
from xrdorder.studies.run import RESULTS, SAMPLES, sample_file
from xrdorder.studies.store import FAILED, Provenance, StoredSample, read_sample
from xrdorder.studies.words import did_you_mean
from xrdorder.uncertainty import PRIVATE, Contributions

Array = NDArray[np.float64]
Sharing = Mapping[tuple[str, str], Sequence[str]]
"""Samples that carry a source, by its family and group."""

UNITS = {"nm": "nm", "deg": "degree", "K": "K", "T": "T"}

FAMILIES = {
    "counting": "counting statistics, enlarged where residuals hang together; with all the fit found out itself",
    "calibration": "instrument as calibrated: offset of the angles, line shape",
    "certificate": "lattice parameter certified for the standard",
    "internal standard": "lattice parameter certified for the powder mixed in",
    "wavelength": "wavelength of the emission lines",
    "scattering table": "f' and f'' by different tables",
    "displacement parameters": "thermal displacement of the atoms",
    "two-theta offset": "zero of the goniometer, which may have moved since it was calibrated",
    "specimen displacement": "place of the specimen, found by the fit",
    "lattice distribution": "form of the distribution of the lattice parameter",
    "line width": "width of lines too weak to tell it",
    "illuminated length": "share of the beam that met the specimen",
    "microabsorption": "absorption within grains of unknown size",
    "strain gauge": "lattice of the metal that tells the strain",
    "routes disagree": "lattice and order contradict each other about tin",
    "niobium or tantalum": "one phase for both metals, whose shares the pattern cannot tell",
    "texture": "preferred orientation",
    "temperature": "temperature of the specimen",
    "thermal expansion": "expansion coefficient",
    "dopant content": "how much dopant the A15 holds",
    "dopant site": "share of the dopant on the tin site",
    "dopant lattice effect": "change of the lattice parameter by dopants",
    "strain state": "strain left in the wire",
    "disorder in the lattice": "how much disorder changes the lattice parameter",
    "usual order": "S_a taken to be as usual, before the measurement says anything",
    "a(tin) scale": "laboratories disagree about a at known tin content",
    "a(tin) slope": "two published lines a(tin) differ in slope",
    "a(tin) scatter": "single specimens stray from the line",
}
"""Families of sources in words."""

KINDS = {
    ("displacement parameters", True): ("fitted", "fitted to this pattern beside the quantity"),
    ("displacement parameters", False): ("held", "held at the values of the catalogue, as in all samples"),
}
"""What a family is called and means by whether it is private to the sample, where that makes another thing of it."""

NUISANCES = {
    "specimen displacement": r"specimen_displacement_mm",
    "offset of the angles": r"two_theta_offset",
    "transparency": r"transparency_deg",
    "displacement parameters": r".*_b_iso_.*",
    "texture": r".*_texture_\d+|.*_march_r",
    "spread of the lattice": r".*_(lattice_tail_nm|depth_slope|elastic_shift|strain_anisotropy)",
    "line widths": r".*(lorentz|gauss)_\w+",
    "amounts": r".*_scale",
    "background": r"background_\d+",
}
"""Groups of fitted parameters by the pattern of their names, the first that matches."""


@dataclass(frozen=True)
class SourceShare:
    """Part of an uncertainty that one family of sources makes, as far as one group shares it.

    Attributes
    ----------
    family : str
    title : str
        Name that differs from those of all other parts: the family, and what tells its parts apart.
    group : str
        Who shares it; empty: private to the sample.
    u : float
        Standard contribution, in the unit of the quantity.
    meaning : str
        The family in words; empty for one this version does not know.
    members : tuple of (name, u)
        Parts with names of their own (phases, elements), largest first.
    samples : tuple of str or None
        Other samples of the study that carry it; None where the collated results do not tell.
    """

    family: str
    title: str
    group: str
    u: float
    meaning: str
    members: tuple[tuple[str, float], ...]
    samples: tuple[str, ...] | None


@dataclass(frozen=True)
class Nuisance:
    """What one group of other fitted parameters costs a parameter.

    Attributes
    ----------
    name : str
        A key of `NUISANCES`.
    u : float
        By how much, in quadrature, the counting uncertainty of the parameter would shrink if the group were known.
        Groups overlap: these do not add up.
    strongest : (name, correlation)
        The member with the strongest correlation.
    """

    name: str
    u: float
    strongest: tuple[str, float]


@dataclass(frozen=True)
class FittedParameter:
    """A parameter at the beginning of a chain: value, counting uncertainty, and what it hangs together with."""

    name: str
    value: float
    u: float
    nuisances: tuple[Nuisance, ...]


@dataclass(frozen=True)
class RelationSaid:
    """What one published relation says of the sample; refused where `reason` is not empty."""

    name: str
    median: float
    low: float
    high: float
    formula: str
    source: str
    reason: str


@dataclass(frozen=True)
class QuantityExplained:
    """One quantity with everything behind it.

    Attributes
    ----------
    name, unit : str
    value : float
    remark : str
        How what was asked for follows from the quantity, where it was asked for by another name.
    u, private, common : float
        Total standard uncertainty, the sample's own part and the part others share; NaN without a table.
    low, high : float
        68 % interval of a prediction, NaN otherwise.
    steps : tuple of Step
        From the pattern to the quantity, the quantity last; empty for a prediction.
    budget : tuple of SourceShare
        Largest first.
    fitted : tuple of FittedParameter
        What the chain began with.
    relations : tuple of RelationSaid
        Of a prediction.
    """

    name: str
    unit: str
    value: float
    u: float = math.nan
    private: float = math.nan
    common: float = math.nan
    low: float = math.nan
    high: float = math.nan
    steps: tuple[Step, ...] = ()
    budget: tuple[SourceShare, ...] = ()
    fitted: tuple[FittedParameter, ...] = ()
    relations: tuple[RelationSaid, ...] = ()
    remark: str = ""


@dataclass(frozen=True)
class Opinion:
    """What another route says about the same counts.

    Attributes
    ----------
    quantity : str
        "a" (nm) or "order".
    route : str
    difference, u : float
        From the whole-pattern fit, and its standard uncertainty; NaN where the route has no answer.
    reason : str
        Why it has none.
    """

    quantity: str
    route: str
    difference: float
    u: float
    reason: str


@dataclass(frozen=True)
class Explanation:
    """A stored result, explained.

    Attributes
    ----------
    sample, status : str
    provenance : Provenance
    version : str
        Version of this program, whose formulas are shown; that of the result stands in `provenance`.
    quality : mapping of str to float
        Figures of the fit.
    quality_words : str
        Verdict on the fit, where one is stored.
    opinions : tuple of Opinion
        Lattice and order by other routes through the same counts.
    free_parameters : int
    model : tuple of str
        What stands in the model, in words.
    dopants : str
        What was said about them.
    quantities : tuple of QuantityExplained
        All of them, or the one asked for.
    order_correlations : tuple of (parameter, correlation)
        Of the order contrast with the displacement parameters of the A15, from the stored covariance.
    flags : tuple of (name, message)
    assumptions : tuple of str
    """

    sample: str
    status: str
    provenance: Provenance
    version: str
    quality: Mapping[str, float]
    quality_words: str
    opinions: tuple[Opinion, ...]
    free_parameters: int
    model: tuple[str, ...]
    dopants: str
    quantities: tuple[QuantityExplained, ...]
    order_correlations: tuple[tuple[str, float], ...]
    flags: tuple[tuple[str, str], ...]
    assumptions: tuple[str, ...]

    @property
    def failed(self) -> bool:
        """Whether there is no result to explain but the reason why."""
        return self.status.startswith(FAILED)


def explain_stored(folder: str | Path, name: str, quantity: str | None = None) -> Explanation:
    """Explain a result in a study folder.

    Parameters
    ----------
    folder : str or Path
        The study folder; its description is not needed.
    name : str
        The sample.
    quantity : str, optional
        One quantity with all its steps, by its name, that of a column of `results.csv` or a printed heading; all of
        them in short where left out.

    Raises
    ------
    StudyError
        There is no such study, no result of the sample, or its file is damaged; the message names the closest.
    UnknownNameError
        The sample has no such quantity.
    """
    folder = Path(folder)
    results = folder / RESULTS
    if not folder.is_dir():
        beside = [item.name for item in folder.parent.iterdir()] if folder.parent.is_dir() else []
        raise StudyError(f"{folder}: no such study folder; {_closest(folder.name, beside)}")
    statuses = _statuses(results / RESULTS_NC)
    stored = [path.stem for path in (results / SAMPLES).glob("*.nc") if not path.name.startswith(".")]
    if not stored and not statuses:
        raise StudyError(f"{folder}: holds no results; run the study first")
    if name in stored:
        sample = read_sample(sample_file(results / SAMPLES, name))
    elif statuses.get(name, "").startswith(FAILED):
        sample = StoredSample(name=name, status=statuses[name])
    else:
        raise StudyError(f"{folder}: has no result of sample '{name}'; {did_you_mean(name, [*stored, *statuses])}")
    return explain(sample, quantity, _sharing(results / RESULTS_NC, sample))


def _closest(word: str, words: Sequence[str]) -> str:
    """Suggest a name where one is close; a whole directory is no suggestion."""
    hint = did_you_mean(word, words)
    return hint if hint.startswith("did you mean") else "check the path"


def explain(sample: StoredSample, quantity: str | None = None, sharing: Sharing | None = None) -> Explanation:
    """Explain a stored sample.

    Parameters
    ----------
    sample : StoredSample
        Read with its groups; without them there are no steps back to the fit.
    quantity : str, optional
    sharing : mapping of (family, group) to names of samples, optional

    Raises
    ------
    UnknownNameError
        The sample has no such quantity.
    """
    stored = Stored.of(sample)
    covariance = _Covariance.of(sample)
    targets = [str(t) for t in sample.tables["target"].values] if "target" in sample.tables.coords else []
    names = [*sample.values, *targets]
    remark = ""
    if quantity is not None and not sample.failed:
        try:
            name, remark = quantity_asked(quantity, names)
        except UnknownNameError as error:
            raise UnknownNameError(f"sample '{sample.name}': {error}") from None
        names = [name]
    found = [
        _predicted(sample, name) if name in targets else _quantity(sample, stored, covariance, name, sharing or {})
        for name in ([] if sample.failed else names)
    ]
    contrast = fitted_parameter("order_contrast", stored)
    b_iso = [name for name in covariance.names if name.startswith(f"{stored.a15}_b_iso_")]
    return Explanation(
        sample.name,
        sample.status,
        sample.provenance,
        __version__,
        sample.quality,
        sample.quality_words,
        _opinions(sample),
        len(covariance.names),
        model_words(sample),
        _dopants(sample),
        tuple(replace(one, remark=remark) for one in found),
        tuple((name, covariance.correlation(contrast, name)) for name in b_iso if contrast in covariance.names),
        sample.flags,
        sample.assumptions,
    )


def _dopants(sample: StoredSample) -> str:
    """What the description said about dopants, contents in at.%; empty where there is no description."""
    options = sample.provenance.options
    if "dopants" not in options:
        return ""
    u = options.get("u_dopants") or {}
    named = [
        f"{100.0 * content:g}{f' ± {100.0 * u[element]:g}' if element in u else ''} at.% {element}"
        for element, content in (options["dopants"] or {}).items()
    ]
    if named:
        return ", ".join(named)
    return "said to hold none" if options.get("undoped") else "nothing was said; taken as an undoped wire, and flagged"


def _opinions(sample: StoredSample) -> tuple[Opinion, ...]:
    """Other routes to lattice and order, those first that have an answer."""
    table = sample.opinions
    if table is None:
        return ()
    found = []
    for quantity, value in (("a", "a_difference_nm"), ("order", "order_difference")):
        for k, route in enumerate(map(str, table["route"].values)):
            difference, u = (float(table[name].values[k]) for name in (value, f"u_{value}"))
            reason = str(table[f"{quantity}_reason"].values[k])
            if k and not reason.endswith("only"):
                found.append(Opinion(quantity, route, difference, u, reason))
    return tuple(found)


def _quantity(
    sample: StoredSample, stored: Stored, covariance: _Covariance, name: str, sharing: Sharing
) -> QuantityExplained:
    chain = steps(name, stored)
    fitted = [
        FittedParameter(
            step.quantity, step.value, covariance.u(step.quantity), covariance.nuisances(step.quantity)
        )
        for step in chain
        if step.quantity in covariance.names
    ]
    plain = QuantityExplained(
        name, unit(name), stored.number(name), steps=chain, fitted=tuple(fitted)
    )
    table = sample.contributions
    if name not in table.quantities or math.isnan(plain.value):
        return plain
    return replace(
        plain,
        u=table.total(name),
        private=table.part(name, shared=False),
        common=table.part(name, shared=True),
        budget=tuple(_budget(table, name, sample.name, sharing)),
    )


def _budget(table: Contributions, quantity: str, sample: str, sharing: Sharing) -> list[SourceShare]:
    """Sources by family and group, in quadrature, largest first."""
    parts: dict[tuple[str, str], dict[str, float]] = {}
    for source, group, value in zip(table.sources, table.groups, table.row(quantity), strict=True):
        family, _, member = source.partition("/")
        if value != 0.0:
            parts.setdefault((family, group), {})[member] = abs(float(value))
    shares = []
    for (family, group), members in parts.items():
        named = {name: u for name, u in members.items() if name and not name.isdigit()}
        holders = () if group == PRIVATE else sharing.get((family, group))
        others = None if holders is None else tuple(name for name in holders if name != sample)
        shares.append(
            SourceShare(
                family,
                _title(family, group, [other for of, other in parts if of == family]),
                group,
                math.sqrt(sum(u * u for u in members.values())),
                ": ".join(x for x in (FAMILIES.get(family, ""), KINDS.get((family, not group), ("", ""))[1]) if x),
                tuple(sorted(named.items(), key=lambda item: -item[1])),
                others,
            )
        )
    return sorted(shares, key=lambda share: (-share.u, share.family, share.group))


def _title(family: str, group: str, groups: Sequence[str]) -> str:
    """Name a part so that no two are called alike.

    >>> _title("displacement parameters", "catalogue", ["catalogue"]), _title("strain state", "", ["", "A"])
    ('displacement parameters, held', 'strain state, own')
    >>> _title("strain state", "A", ["", "A"]), _title("texture", "", [""])
    ('strain state, shared', 'texture')
    """
    kind = KINDS.get((family, group == PRIVATE))
    if kind:
        return f"{family}, {kind[0]}"
    if len(groups) == 1:
        return family
    if group == PRIVATE:
        return f"{family}, own"
    return f"{family}, shared" if sum(other != PRIVATE for other in groups) == 1 else f"{family}, shared by {group}"


def _predicted(sample: StoredSample, target: str) -> QuantityExplained:
    """Explain a prediction: what each relation says, and which do not apply."""
    tables = sample.tables
    k = int(np.flatnonzero(tables["target"].values == target)[0])
    said = []
    for i in np.flatnonzero(tables["relation_target"].values == target):
        name = str(tables["relation"].values[i]).removeprefix(f"{target}: ")
        formula, known = _formula(name)
        said.append(
            RelationSaid(
                name,
                float(tables["relation_median"].values[i]),
                float(tables["relation_low"].values[i]),
                float(tables["relation_high"].values[i]),
                formula,
                f"{tables['relation_source'].values[i]}{known}",
                str(tables["relation_reason"].values[i]),
            )
        )
    median, low, high = (float(tables[f"target_{end}"].values[k]) for end in ("median", "low", "high"))
    return QuantityExplained(target, unit(target), median, low=low, high=high, relations=tuple(said))


def _formula(names: str) -> tuple[str, str]:
    """Formula of relations joined by name, and how they are known; empty for names of another version."""
    try:
        entries = [relation(name) for name in names.split(" + ")]
    except UnknownNameError:
        return "", ""
    known = ", ".join(dict.fromkeys(LABELS[entry.known] for entry in entries))
    return "; ".join(entry.formula for entry in entries), f" ({known})"


def unit(name: str) -> str:
    """Unit of a quantity by its name; empty for plain numbers and fractions.

    >>> unit("domain_size_nm_lean"), unit("Bc2_4K2_T"), unit("gauss_tan2"), unit("site_order")
    ('nm', 'T', 'degree²', '')
    """
    if name.startswith("gauss_"):
        return "degree²"
    if name.startswith("lorentz_"):
        return "degree"
    found = re.search(r"_(nm|deg|K|T)(?:_|$)", name)
    return UNITS[found[1]] if found else ""


@dataclass(frozen=True)
class _Covariance:
    """Covariance of the free parameters of a stored fit."""

    names: tuple[str, ...]
    values: Array

    @classmethod
    def of(cls, sample: StoredSample) -> _Covariance:
        table = sample.groups.get("parameters")
        if table is None or "covariance" not in table:
            return cls((), np.zeros((0, 0)))
        return cls(
            tuple(str(name) for name in table["free"].values), np.asarray(table["covariance"].values, dtype=float)
        )

    def u(self, name: str) -> float:
        k = self.names.index(name)
        return math.sqrt(max(float(self.values[k, k]), 0.0))

    def correlation(self, one: str, other: str) -> float:
        product = self.u(one) * self.u(other)
        if product == 0.0:
            return math.nan
        return float(self.values[self.names.index(one), self.names.index(other)]) / product

    def nuisances(self, name: str) -> tuple[Nuisance, ...]:
        """What groups of other parameters cost this one, largest first; those below a hundredth are left out."""
        groups: dict[str, list[str]] = {}
        for other in self.names:
            if other != name and self.u(other) > 0.0:
                group = next((key for key, text in NUISANCES.items() if re.fullmatch(text, other)), "")
                groups.setdefault(group, []).append(other)
        found = []
        for group, members in groups.items():
            if not group:
                continue
            r = np.array([self.correlation(name, member) for member in members])
            among = np.array([[self.correlation(a, b) for b in members] for a in members])
            # R² of the parameter on the group: the share of its variance that goes when the group is known
            share = float(np.clip(r @ np.linalg.pinv(among, hermitian=True) @ r, 0.0, 1.0))
            if share > 1e-4:
                k = int(np.argmax(np.abs(r)))
                found.append(Nuisance(group, self.u(name) * math.sqrt(share), (members[k], float(r[k]))))
        return tuple(sorted(found, key=lambda item: -item.u))


def _statuses(path: Path) -> dict[str, str]:
    """Status of each sample in the collated results; empty where there are none."""
    import xarray as xr

    try:
        with xr.open_dataset(path, engine="h5netcdf") as results:
            return {str(n): str(s) for n, s in zip(results["sample"].values, results["status"].values, strict=True)}
    except (OSError, ValueError, KeyError):
        return {}


def _sharing(path: Path, sample: StoredSample) -> Sharing:
    """Which samples of the collated results carry the shared sources of this one."""
    import xarray as xr

    try:
        with xr.open_dataset(path, engine="h5netcdf") as results:
            samples = [str(name) for name in results["sample"].values]
            sources = [str(name) for name in results["source"].values]
            groups = np.asarray(results["source_group"].transpose("sample", "source").values)
    except (OSError, ValueError, KeyError):
        return {}
    found: dict[tuple[str, str], dict[str, None]] = {}
    for source, group in zip(sample.contributions.sources, sample.contributions.groups, strict=True):
        if group != PRIVATE and source in sources:
            holders = np.flatnonzero(groups[:, sources.index(source)] == group)
            found.setdefault((source.split("/", 1)[0], group), {}).update(dict.fromkeys(samples[k] for k in holders))
    return {key: tuple(names) for key, names in found.items()}
