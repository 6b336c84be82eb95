"""Figures of treatments and of what is estimated: schedules, budgets, relations, trade, map, currents."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import numpy as np
import xarray as xr

from xrdorder.comparison.variants import fit_to_compare
from xrdorder.drawing.layout import evenly
from xrdorder.estimates.conductors import conductors, with_like_sizes
from xrdorder.exceptions import StudyError, XrdorderError
from xrdorder.figures import budget as budgets
from xrdorder.figures import planning_figure
from xrdorder.figures.bc2_grain_size import trade_figure
from xrdorder.figures.by_relation import by_relation_figure
from xrdorder.figures.in_field import MOST as MOST_CURRENTS
from xrdorder.figures.in_field import MOST_BANDS, current_figure, layer_current_figure
from xrdorder.figures.schedules import most_shown, reacted, schedule_figure
from xrdorder.quantities.caveats import ESTIMATES
from xrdorder.quantities.formatting import listed
from xrdorder.quantities.registry import quantity
from xrdorder.reports.next_step import FIELD_T
from xrdorder.reports.pictures import PANELS, Maker, Picture, Scene
from xrdorder.superconductivity.currents import Conditions, Conductor
from xrdorder.superconductivity.pinning import MICROSCOPY

_MOST_TRADED = 100
BUDGETS = {name: PANELS[name] for name in ("lattice", "site-order")} | {"tin": "tin_fraction_lattice"}
"""Panels of the budget."""
_FIELDS = "Currents are estimates from grain size, Bc2 and published relations, not measurements. "


def schedules(scene: Scene) -> Picture:
    """Draw the furnace schedules."""
    samples = scene.opened.study.samples
    shown = [sample for sample in samples if not scene.chosen or sample.name in scene.chosen]
    histories = reacted(
        {entry.name: entry.treatment for entry in shown}, {entry.name: entry.lot.name for entry in shown}
    )
    most = min(len(histories), most_shown(scene.size))
    some = "" if most == len(histories) else f" ({most} shown, evenly through the study)"
    without = sum(entry.treatment is None for entry in shown)
    missing = f" {without} samples without a treatment." if without else ""
    return Picture(
        "schedules",
        schedule_figure(histories, **scene.headed("Furnace schedules")),
        f"Temperature over time of {most} furnace schedules, small panels with the same axes",
        f"Furnace schedules, {len(histories)} in all{some}, each with its holds (°C/h), lots and number of samples. "
        f"Where a ramp has no rate it is dashed, with '?', as if it took no time.{missing} Data: study.toml of "
        f"'{scene.title}'.",
    )


def budget(scene: Scene, names: Sequence[str] = (), name: str = "budget") -> Picture:
    """Draw what the uncertainties are made of."""
    results, _ = fit_to_compare(scene.opened.results)
    known = [str(sample) for sample in results["sample"].values if _finite(results, str(sample), "a_nm")]
    shown = list(scene.chosen) or _chosen(known, budgets.MOST, _first_samples(scene))
    figure = budgets.budget_figure(results, shown, names, **scene.headed("What uncertainties are made of"))
    some = "" if scene.chosen or len(shown) == len(known) else _said_chosen(len(shown), len(known))
    what = listed([quantity(name).noun for name in names]) if names else "lattice parameter, site order and tin"
    return Picture(
        name,
        figure,
        f"Shares of the variance of {what} by source, a row for each sample",
        f"What the uncertainties of {what} are made of{some}: shares of the variance by "
        "source. Plain: independent; hatched: shared with other samples, which cancels in differences as far as it is "
        f"shared. Numbers: standard uncertainty (k = 1). {scene.data}",
    )


def relations(scene: Scene, names: Sequence[str] = (), name: str = "relations") -> Picture:
    """Draw Tc and Bc2 by each relation, of the sample ahead and the reference."""
    samples = list(scene.chosen) or _first_samples(scene)
    what = listed([quantity(name).noun for name in names]) if names else "Tc and Bc2 at 4.2 K"
    figure = by_relation_figure(scene.opened.results, samples, names, **scene.headed("Tc and Bc2 by each relation"))
    return Picture(
        name,
        figure,
        f"{what} of {listed(samples)} by each published relation, the joint estimate on top",
        f"{what} of {listed(samples)} by each published relation, with its 68 % interval; on "
        "top the joint estimate. How far rows lie apart is how far published relations disagree; those outside their "
        f"validity say why. {ESTIMATES} {scene.data}",
    )


def trade(scene: Scene) -> Picture:
    """Draw Bc2 against grain size with lines of equal current."""
    results, _ = fit_to_compare(scene.opened.results)
    first = _first_samples(scene)
    everybody = [str(name) for name in results["sample"].values]
    shown = _chosen(everybody, _MOST_TRADED, first)
    samples = _conductors(scene, results, shown)
    names = [sample.name for sample in samples]
    reference = next((name for name in reversed(first) if name in names), names[0] if names else "")
    figure = trade_figure(samples, reference, field_t=FIELD_T, named=first, **scene.headed("Bc2 against grain size"))
    some = "" if len(shown) == len(everybody) else _said_chosen(len(shown), len(everybody))
    by_eye = any(sample.grain.by == MICROSCOPY for sample in samples)
    noun = "grain size by microscopy" if by_eye else "domain size, taken for the grain size"
    return Picture(
        "trade-off",
        figure,
        f"Bc2 at 4.2 K against grain size, relative to {reference}, with lines of equal layer current at {FIELD_T:g} T",
        f"Bc2 against {noun} (logarithmic), less that of {reference}{some}; bars: 68 % of the difference. Bc2 is that "
        f"of the layer in its wire, {Conditions().words(designs=[sample.design for sample in samples])}; "
        "without strain it stands among the differences of variants. Lines: layer "
        f"current density at {FIELD_T:g} T over that of {reference}, thick where both are equal; along a line a higher "
        f"Bc2 pays for coarser grains. {_FIELDS}{ESTIMATES} {scene.data}",
    )


def currents(scene: Scene) -> Picture:
    """Draw relative currents against field."""
    results, _ = fit_to_compare(scene.opened.results)
    first = _first_samples(scene)
    tried = list(scene.chosen) or _chosen(list(scene.look.first_samples.values()), 2 * MOST_CURRENTS, first)
    ready = {conductor.name: conductor for conductor in _conductors(scene, results, tried)}
    names = _chosen(list(ready), MOST_CURRENTS, [name for name in first if name in ready])
    reference = next((name for name in (*reversed(first), *names) if name in names), "")
    figure = current_figure(
        [ready[name] for name in names], reference=reference, **scene.headed("Layer current against field")
    )
    return Picture(
        "currents",
        figure,
        f"Layer current density of {len(names) - 1} samples over that of {reference} against field, crossings below",
        f"Current density of the layer over that of {reference} at 4.2 K against field: a sample of the leading "
        "variant and others, one a treatment, evenly through the study. Lines: medians over all draws; bars or bands: "
        "68 % intervals, with an arrow where a bar goes on beyond the frame. Strip below: fields of equal currents "
        "with 68 % intervals over those draws in which the two cross, whose share is given where not nearly all do; "
        f"so a median may not reach one where the strip has a field. {_FIELDS}{scene.data}",
    )


def layer_current(scene: Scene) -> Picture:
    """Draw the current density of the layer with its bands, of one sample a lot: the one with the highest Bc2."""
    results, _ = fit_to_compare(scene.opened.results)
    best: dict[str, str] = {}
    for k in np.argsort(-results["Bc2_4K2_T"].values, kind="stable"):
        best.setdefault(str(results["lot"].values[k]), str(results["sample"].values[k]))
    lots = dict.fromkeys(results["lot"].values.astype(str))  # as they have their colours in other figures
    shown = scene.chosen or tuple(best[lot] for lot in lots)
    ready = {conductor.name: conductor for conductor in _conductors(scene, results, shown)}
    names = [name for name in shown if name in ready][:MOST_BANDS]
    figure = layer_current_figure([ready[name] for name in names], **scene.headed("Layer current density"))
    return Picture(
        "layer-current",
        figure,
        f"Estimated current density of the A15 layer against field with bands, {listed(names)}",
        f"Estimated critical current density of the A15 layer at 4.2 K against field, on a logarithmic scale: "
        f"{'' if scene.chosen else 'of each wire lot the sample with the highest Bc2, '}{listed(names)}. Bands: 68 % "
        f"interval, most of it shared by all samples. {_FIELDS}{scene.data}",
    )


def treatment_map(scene: Scene) -> Picture:
    """Draw the map of estimates over temperature and time of the last hold, of the lot that is planned for."""
    plan = scene.plan
    if plan is None:
        raise StudyError("no lot has treatments and wires to plan with")
    figure = planning_figure(plan, **scene.headed("Where to react next"))
    said = "" if plan.plans[0].differ else " No measured difference: expected from growth."
    return Picture(
        "map",
        figure,
        f"Map of the expected critical current at {FIELD_T:g} T over temperature and time of the last hold",
        f"Lot {plan.lot or 'without a name'}: critical current at {FIELD_T:g} T, 4.2 K over temperature and time of "
        "the last hold, by published kinetics held against its wires, as difference to the best treatment so far."
        f"{said} Outlined: within 1 % of the optimum; hatched: not allowed by the copper, or beyond where treatments "
        "are looked for. Squares: worth reacting next; "
        f"no instruction to run a furnace. {_FIELDS}{scene.data}",
    )


def _conductors(scene: Scene, results: xr.Dataset, names: Sequence[str]) -> tuple[Conductor, ...]:
    """Conductors of those samples that have what it takes, with one measure of grain size for all."""
    wanted = set(names)
    rows = [k for k, name in enumerate(results["sample"].values) if str(name) in wanted]
    part = results.isel(sample=rows)
    designs = {sample.name: sample.lot.design for sample in scene.opened.study.samples}
    try:
        return with_like_sizes(conductors(part, library=scene.look.library, designs=designs), part)
    except XrdorderError:
        return ()


def _first_samples(scene: Scene) -> list[str]:
    """A sample of the variant ahead and one of the reference; the first that has a result where none is ahead."""
    names = [str(name) for name in scene.opened.results["sample"].values]
    return scene.look.ahead_and_reference or [
        name for name in names if _finite(scene.opened.results, name, "a_nm")
    ][:1]


def _chosen(names: Sequence[str], most: int, first: Sequence[str]) -> list[str]:
    """At most so many names in their order: the first ones for certain, others evenly."""
    if len(names) <= most:
        return list(names)
    sure = [name for name in first if name in names]
    kept = {*sure, *evenly([name for name in names if name not in sure], most - len(sure))}
    return [name for name in names if name in kept]


def _said_chosen(shown: int, there: int) -> str:
    return f" ({shown} of {there} samples: the leading one, the reference, others evenly through the study)"


def _finite(results: xr.Dataset, name: str, column: str) -> bool:
    places = results["sample"].values.astype(str) == name
    return bool(results[column].notnull().values[places].any())


MAKERS = (
    Maker("schedules", schedules), Maker("relations", relations), Maker("trade-off", trade),
    Maker("layer-current", layer_current), Maker("currents", currents, alone=True), Maker("map", treatment_map),
    Maker("budget", budget),
    *(Maker(f"relations-{entry}", partial(relations, names=[PANELS[entry]], name=f"relations-{entry}"), alone=True)
      for entry in ("tc", "bc2")),
    *(Maker(f"budget-{name}", partial(budget, names=[entry], name=f"budget-{name}"), alone=True)
      for name, entry in BUDGETS.items()),
)  # fmt: skip
