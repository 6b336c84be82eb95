"""Joint draws of all samples of a study: made after the last fit, stored in `results.nc`, read by whoever needs them.

Every interval, difference and probability of tin, Tc, Bc2, slope and resistivity is taken from these draws, with numpy
and nothing else: the median of a sample is the median of its draws, its 68 % interval two of their quantiles, and the
standard uncertainty of A less B the standard deviation of draws of A less draws of B.

Samples whose fit is not to be used, and patterns that stand under a second name, are estimated each by itself: they
must teach nothing about the others.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import xarray as xr

from xrdorder.estimates.from_material import kind_of, on_scale, wire_of_values
from xrdorder.estimates.hyperparameters import Hyperparameters
from xrdorder.estimates.model import DRAWS, JointDraws, joint_draws
from xrdorder.estimates.relation_columns import with_relations
from xrdorder.estimates.stored_draws import (
    BY_X_RAYS,
    column_of,
    rounded_for_store,
    stored_targets,
)
from xrdorder.estimates.study_remarks import remarks_of
from xrdorder.estimates.wires import Measured, Wire
from xrdorder.estimates.wires import checked as wires_checked
from xrdorder.exceptions import ValidityError
from xrdorder.material import PUBLISHED_SCALE, TinScale
from xrdorder.quantities.caveats import ANCHORED
from xrdorder.quantities.formatting import counted, listed
from xrdorder.quantities.grades import UNFIT
from xrdorder.quantities.registry import ESTIMATED, QUANTITIES, columns, unit_of
from xrdorder.relations import PUBLISHED, Library, bc2_of_temperature, relation
from xrdorder.relations.resistivity import FROM_ORDER
from xrdorder.relations.tc_from_tin import BOLTZMANN
from xrdorder.results.conventions import udunits, units_beside
from xrdorder.results.fingerprint import code_hash
from xrdorder.uncertainty import separate

SEED = 0
"""One for all studies: equal results give equal draws."""

_SAMPLES = "ratio of Bc2 to Tc of published samples"
# the definition; its form is from memory, the paper's equation was not legible
_ORDER = "A. Godeke, Supercond. Sci. Technol. 19 (2006) R68, eq. 1"
_SOURCES = {
    "S_a": _ORDER,
    "S_b": _ORDER,
    "Tc_K": BOLTZMANN.source,
    "Bc2_0K_T": _SAMPLES,
    "Bc2_4K2_T": f"{_SAMPLES}; {bc2_of_temperature.POWER.source}",
    "Bc2_slope_T_per_K": f"{_SAMPLES}; {relation('werthamer-helfand-hohenberg').source}",
    "resistivity_uohm_cm": FROM_ORDER.source,
}
"""Publications behind the forms of the model."""

_OF_DRAWS = ("estimate", "shared_", "target_")
"""How names of variables and attributes begin that are stored with the draws."""

_WITHOUT_DRAWS = {"estimate_flags": "[]"}
"""What stands in them for a sample that has no result; all that is not named is NaN."""

_ANCHORS = {
    "Tc_K": ("tc_k", "Tc"),
    "Bc2_T": ("bc2_t", "Bc2"),
    "tin_at_percent": ("tin_at_percent", "tin"),
}
_OF_CURRENTS = ("critical_current_a", "grain_size_nm")
"""What anchors currents of the lot and changes neither Tc nor Bc2."""


def wires_of(results: xr.Dataset, scale: TinScale = PUBLISHED_SCALE) -> tuple[dict[str, Wire], dict[str, str]]:
    """Wires of the samples of collated results that have an A15, with what was measured on them.

    Returns
    -------
    wires : dict of str to Wire
    refused : dict of str to str
        Samples whose numbers no Nb3Sn can have, and why.
    """
    measured = _measured(results)
    numbers = {
        str(name): np.asarray(results[of].transpose("sample", what).values)[:, k]
        for what, of in (("quantity", "value"), ("plain_quantity", "plain_value"))
        for k, name in enumerate(results[what].values)
    }
    wires: dict[str, Wire] = {}
    refused: dict[str, str] = {}
    for k, (name, table) in enumerate(separate(results).items()):
        values = {quantity: float(column[k]) for quantity, column in numbers.items() if math.isfinite(column[k])}
        if not {"tin_fraction_lattice", "tin_lower_bound"} & values.keys():
            continue
        try:
            wires[name] = wire_of_values(
                name,
                values,
                table,
                lot=str(results["lot"].values[k]),
                kind=kind_of(str(results["wire"].values[k])),
                contrast_by_tin=values.get("order_contrast_by_tin", 0.0),
                scale=scale,
                treatment=str(results["treatment"].values[k]),
                **measured.get(name, {}),
            )
        except ValidityError as error:
            refused[name] = str(error)
    return wires, refused


def _measured(results: xr.Dataset) -> dict[str, dict[str, Measured]]:
    """What anchors the estimates, by sample: the first value of each kind."""
    values_by_sample: dict[str, dict[str, Measured]] = {}
    columns = ("sample", "quantity", "value", "criterion", "temperature_k")
    if "measured_sample" not in results:
        return values_by_sample
    told = [results[f"measured_{name}"].values for name in columns]
    for sample, quantity, value, criterion, temperature, u in zip(
        *told, results["u_measured_value"].values, strict=True
    ):
        if quantity in _ANCHORS:
            measured = Measured(float(value), float(u), str(criterion), float(temperature))
            values_by_sample.setdefault(str(sample), {}).setdefault(_ANCHORS[quantity][0], measured)
    return values_by_sample


def anchor_words(results: xr.Dataset, wires: Mapping[str, Wire], *, named: bool = False) -> dict[str, str]:
    """What the estimates of each wire are anchored to in its lot; empty where nothing was measured that can be used.

    Samples that it was measured on are counted, or `named`.
    """
    anchors = [(wire, title) for wire in wires_checked(list(wires.values()))[0]
               for key, title in _ANCHORS.values() if getattr(wire, key) is not None]  # fmt: skip
    if "measured_sample" in results:
        pairs = zip(results["measured_sample"].values, results["measured_quantity"].values, strict=True)
        anchors += [(wires[name], QUANTITIES[of].noun) for name, of in pairs if of in _OF_CURRENTS and name in wires]
    by_lot: dict[tuple[str, str], dict[str, list[str]]] = {}
    for wire, title in anchors:
        by_lot.setdefault(wire.lot_key, {}).setdefault(title, []).append(wire.name)
    words = {}
    for lot, by_title in by_lot.items():
        of: dict[str, list[str]] = {}
        for title, names in by_title.items():
            names = list(dict.fromkeys(names))
            of.setdefault(", ".join(names) if named else counted(names), []).append(title)
        words[lot] = ", ".join(f"{listed(titles)} measured on {names}" for names, titles in of.items())
    return {name: words.get(wire.lot_key, "") for name, wire in wires.items()}


def study_remarks(results: xr.Dataset) -> list[str]:
    """What the draws say of a study as a whole (`xrdorder.estimates.study_remarks`)."""
    return [str(remark) for remark in json.loads(str(results.attrs.get("estimate_remarks", "[]")))]


def estimated(
    results: xr.Dataset,
    scale: TinScale = PUBLISHED_SCALE,
    library: Library = PUBLISHED,
    *,
    previous: xr.Dataset | None = None,
    seed: int = SEED,
    n: int = DRAWS,
) -> xr.Dataset:
    """Add joint draws to collated results, the columns that are taken from them, and what each relation says.

    Parameters
    ----------
    results : Dataset
        As `xrdorder.results.collate.collate` gives it.
    scale : TinScale
        Line from which tin was read.
    library : Library
        Relations to be listed beside the estimates.
    previous : Dataset, optional
        Results of an earlier run, whose draws are kept where nothing they depend on has changed.
    seed, n : int
        Seed and number of draws.
    """
    (wires, refused), hyper = wires_of(results, scale), on_scale(scale)
    alone = _not_to_learn_from(results)
    digest = _digest(wires, alone, hyper, seed, n)
    if previous is not None and previous.attrs.get("estimates_sha256") == digest:
        kept = [name for name in previous.data_vars if str(name).startswith(_OF_DRAWS)]
        # a sample without a result, as a treatment just proposed, changes no draw and has none
        drawn = previous[kept].reindex(sample=results["sample"].values, fill_value=_WITHOUT_DRAWS)
        drawn.attrs = {key: value for key, value in previous.attrs.items() if str(key).startswith(_OF_DRAWS)}
    else:
        drawn = _drawn(results, wires, alone, hyper, seed, n)
        drawn.attrs["estimates_sha256"] = digest
    dataset = with_draws(results, drawn)
    return with_relations(_with_words(dataset, wires, refused), library)


def _not_to_learn_from(results: xr.Dataset) -> tuple[str, ...]:
    """Samples whose fit is not to be used, and those of a pattern that stands under another name already."""
    names = [str(name) for name in results["sample"].values]
    unfit = [str(words).startswith(UNFIT) for words in results["quality"].values]
    twins = [bool(str(name)) for name in results["same_pattern_as"].values]
    return tuple(name for name, *out in zip(names, unfit, twins, strict=True) if any(out))


def _digest(wires: Mapping[str, Wire], alone: Sequence[str], hyper: Hyperparameters, seed: int, n: int) -> str:
    """SHA-256 of everything the draws depend on."""
    content = hashlib.sha256()
    about = {name: hyper[name] for name in hyper} | {"seed": seed, "n": n, "code": code_hash(("xrdorder.estimates",))}
    content.update(json.dumps(about, sort_keys=True).encode())
    for name, wire in wires.items():
        table = wire.contributions
        plain = replace(wire, contributions=table.empty(table.quantities), a_nm=math.nan, site_order=math.nan)
        content.update(repr((plain, wire.a_nm, wire.site_order, name in alone)).encode())
        content.update(repr((table.quantities, table.sources, table.groups)).encode() + table.values.tobytes())
    return content.hexdigest()


def _drawn(
    results: xr.Dataset, wires: Mapping[str, Wire], alone: Sequence[str], hyper: Hyperparameters, seed: int, n: int
) -> xr.Dataset:
    """Draws of all samples as variables of the results."""
    samples = [str(name) for name in results["sample"].values]
    together = [wire for name, wire in wires.items() if name not in alone]
    groups = [group for group in (together, *([wires[name]] for name in wires if name in alone)) if group]
    drawn = [joint_draws(group, seed=seed, n=n, hyper=hyper) for group in groups]
    values = _in_order(samples, drawn, n)
    flags = np.full(len(samples), "[]", dtype=object)
    for draws in drawn:
        for name in draws.samples:
            flags[samples.index(name)] = json.dumps(draws.flags[name], ensure_ascii=False)
    dataset = xr.Dataset(
        {
            "estimate_draws": (
                ("sample", "target", "draw"),
                values,
                {"long_name": "joint draws of the estimates, fractions as fractions"},
            ),
            "estimate_flags": ("sample", flags, {"long_name": "flags of the estimates, JSON list of name and message"}),
            "target_units": ("target", *units_beside(map(unit_of, ESTIMATED), "estimate_draws")),
        },
        coords={
            "sample": np.array(samples, dtype=object),
            "target": ("target", np.array(ESTIMATED, dtype=object), {"long_name": "name of the estimated quantity"}),
        },
        attrs={"estimate_seed": seed, "estimate_law": bc2_of_temperature.POWER.name},
    )
    bare: list[JointDraws] = []
    if any(getattr(wire, key) is not None for wire in wires.values() for key, _ in _ANCHORS.values()):
        few = min(n, _BY_X_RAYS)
        bare = [joint_draws([_bare(wire) for wire in group], seed=seed, n=few, hyper=hyper) for group in groups]
        dataset[BY_X_RAYS] = (
            ("sample", "target", "draw_by_x_rays"),
            _in_order(samples, bare, few),
            {"long_name": "joint draws as they would be if nothing had been measured by other means"},
        )
    if together:
        dataset.update(_shared(drawn[0]))
        remarks = remarks_of(drawn[0], bare[0] if bare else None, together, hyper)
        dataset.attrs["estimate_remarks"] = json.dumps(remarks, ensure_ascii=False)
    return dataset


_BY_X_RAYS = 1000
"""Draws from X-rays alone, which measured values are held against: ends of an interval to 4 % of its width."""


def _bare(wire: Wire) -> Wire:
    return replace(wire, **dict.fromkeys((key for key, _ in _ANCHORS.values()), None))  # type: ignore[arg-type]


def _in_order(samples: Sequence[str], drawn: Sequence[JointDraws], n: int) -> np.ndarray:
    """Draws of the stored targets in the order of the samples; NaN for those without."""
    values = np.full((len(samples), len(ESTIMATED), n), np.nan, dtype=np.float32)
    for draws in drawn:
        for name, stored in zip(draws.samples, stored_targets(draws), strict=True):
            values[samples.index(name)] = stored
    return values


def _shared(drawn: JointDraws) -> xr.Dataset:
    """Draws of what all samples share, and of what each lot does."""
    rows = {("", name): draws for name, draws in drawn.shared.items()}
    rows |= {(lot, name): draws for lot, of in drawn.by_lot.items() for name, draws in of.items()}
    return xr.Dataset(
        {
            "shared_draws": (
                ("shared", "draw"),
                rounded_for_store(np.array(list(rows.values()))),
                {"long_name": "joint draws of what samples share, in pm, at.%, K, T/K"},
            ),
            "shared_lot": (
                "shared",
                np.array([lot for lot, _ in rows], dtype=object),
                {"long_name": "lot that shares it, or sample that is a lot by itself; empty: the whole study"},
            ),
            "shared_name": (
                "shared",
                np.array([name for _, name in rows], dtype=object),
                {"long_name": "what is shared"},
            ),
        }
    )


def with_draws(results: xr.Dataset, drawn: xr.Dataset) -> xr.Dataset:
    """Add draws to collated results, with the columns that are taken from them.

    Parameters
    ----------
    results : Dataset
    drawn : Dataset
        ``estimate_draws`` over sample, target and draw, and what stands beside them.
    """
    results = results.assign(drawn.assign_coords(sample=results["sample"])).assign_attrs(drawn.attrs)
    draws = results["estimate_draws"].astype(np.float64)
    own = "the laboratory's own: " * (results.attrs.get("tin_scale") != PUBLISHED_SCALE.name)
    sources = {"tin_fraction": f"{own}{results.attrs.get('tin_scale_source', '')}", **_SOURCES}
    dataset = {
        column.name: (
            "sample",
            column.scale * column_of(draws.sel(target=column.quantity).values, column.kind),
            {"units": udunits(column.units), "long_name": column.long_name, "source": sources[column.quantity]},
        )
        for column in columns()
        if column.quantity in ESTIMATED
    }
    return results.assign(dataset)


def _with_words(results: xr.Dataset, wires: Mapping[str, Wire], refused: Mapping[str, str]) -> xr.Dataset:
    """Put flags of the estimates beside those of the fits, and name their anchors among the assumptions."""
    columns = {name: results[name].values.copy() for name in ("flags", "flag_messages", "assumptions")}
    anchors, named = anchor_words(results, wires), anchor_words(results, wires, named=True)
    for k, name in enumerate(map(str, results["sample"].values)):
        known = json.loads(str(columns["flag_messages"][k]))
        new = json.loads(str(results["estimate_flags"].values[k]))
        if name in refused:
            new.append(["no-estimate", f"tin, Tc and Bc2 are not given: {refused[name]}"])
        flags = [*known, *(flag for flag in new if flag not in known)]
        columns["flags"][k] = "; ".join(dict(flags))
        columns["flag_messages"][k] = json.dumps(flags, ensure_ascii=False)
        if words := named.get(name):
            said = [part for part in str(columns["assumptions"][k]).split("; ") if part]
            columns["assumptions"][k] = "; ".join([*said, f"{ANCHORED} {words}"])
    dataset = results.assign({name: ("sample", values, results[name].attrs) for name, values in columns.items()})
    texts = np.array([anchors.get(name, "") for name in map(str, results["sample"].values)], dtype=object)
    meaning = "measured values of its lot that the estimates are anchored to; empty without any"
    return dataset.assign(anchored_to=("sample", texts, {"long_name": meaning}))
