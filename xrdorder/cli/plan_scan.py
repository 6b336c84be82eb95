"""How should a scan be measured, with which radiation, on how many wires?"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from xrdorder.cli.console import File, Part, Progress, details_option, show
from xrdorder.cli.named_files import PICTURE, NamedFile, save_figure
from xrdorder.cli.options import (
    EXISTING_FILE,
    MOUNTS,
    NAMES,
    PAIR,
    POSITIVE,
    all_of,
    dopant_options,
    given,
    reading_options,
    specimen_options,
)

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from xrdorder.scan_planning import Prospect
    from xrdorder.scan_planning.plan import Target

    Answer = tuple[list[Part], Callable[[Any], Figure]]
    """What is shown, and how it is drawn by `xrdorder.figures.scan`."""

_ABOUT = ("scan", "radiation", "wires")
_TARGETS = {
    "target_site_order": ("site_order", 1.0),
    "target_lattice_pm": ("a_nm", 1e-3),
    "target_tin": ("tin_fraction", 1e-2),
    "target_size_nm": ("domain_size_nm", 1.0),
    "target_tc_k": ("Tc_K", 1.0),
    "target_bc2_t": ("Bc2_0K_T", 1.0),
}
"""Options of targets, the quantity of each, and the factor to its unit."""
_ASKED = {
    "site_order": "site_order", "a_pm": "a_nm", "tin_at_percent": "tin_fraction", "domain_size_nm": "domain_size_nm",
    "Tc_K": "Tc_K", "Bc2_0K_T": "Bc2_0K_T", "Ic": "Ic",
}  # fmt: skip
"""Quantities of which differences can be planned for, by the words of --of."""
_ONLY_DIFFERENCES = ("Tc_K", "Bc2_0K_T")

_target_options = all_of(
    click.option("--target-site-order", type=POSITIVE, help="Standard uncertainty (k = 1) wanted of the site order."),
    click.option("--target-lattice-pm", type=POSITIVE, help="The same of the lattice parameter, in pm."),
    click.option("--target-tin", type=POSITIVE, help="The same of the tin content, in at.%."),
    click.option("--target-size-nm", type=POSITIVE, help="The same of the domain size, in nm."),
    click.option("--target-tc-k", type=POSITIVE, help="The same of the difference in Tc of two wires, in K."),
    click.option("--target-bc2-t", type=POSITIVE, help="The same of the difference in Bc2 at 0 K of two wires, in T."),
    click.option("--difference", is_flag=True, help="All targets are those of differences between two wires of a lot."),
    click.option("--measured-tc-k", type=POSITIVE, help="Tc will be measured on each wire too, with this uncertainty."),
)
_scan_options = all_of(
    click.option("--hours", type=POSITIVE, help="Length of the scan; left out: as long as the targets take."),
    click.option("--range", "angles", type=PAIR, help="First and last angle 2 theta in degrees, as 20,140."),
    click.option("--least-share", type=POSITIVE, default=0.25, show_default=True,
                 help="Part of a uniform scan that is counted at least everywhere."),
    click.option("--table", type=NamedFile(), help="Write the ranges, steps and seconds to this CSV file."),
)  # fmt: skip
_wire_options = all_of(
    click.option("--detect", type=POSITIVE, help="Difference of two treatments to detect, in the unit of --of."),
    click.option("--of", "quantity", default="site_order", show_default=True,
                 help="Quantity: site_order, a_pm, tin_at_percent, domain_size_nm, Tc_K, Bc2_0K_T, or Ic in %."),
    click.option("--scatter", type=POSITIVE, help="Standard deviation of wires about their treatment, in that unit."),
    click.option("--study", type=click.Path(path_type=Path), help="Take the scatter from replicates of this study."),
    click.option("--power", type=POSITIVE, default=0.8, show_default=True, help="Probability of detecting it."),
    click.option("--alpha", type=POSITIVE, default=0.05, show_default=True, help="Probability of a false finding."),
    click.option("--u-measured", type=POSITIVE, help="Standard uncertainty of a measured Tc, Bc2 or Ic, in that unit."),
    click.option("--cost", type=(float, float, float), default=(1.0, 1.0, 1.0), show_default=True,
                 help="Of a reacted wire, of an hour of scanning, of one measured Tc, Bc2 or Ic; in any one unit."),
)  # fmt: skip


@click.command("plan-scan")
@click.argument("description", required=False, type=EXISTING_FILE)
@click.option("--instrument", type=EXISTING_FILE, help="Instrument file from xrdorder calibrate.")
@click.option("--from-pattern", type=EXISTING_FILE, help="A quick scan, for real count rates and background.")
@click.option("--about", type=click.Choice(_ABOUT), default="scan", show_default=True,
              help="What is asked: time and ranges of the scan, radiation, or number of wires.")  # fmt: skip
@_target_options
@_scan_options
@click.option("--consider", multiple=True, help="A radiation beside the tubes, as '18.9 keV'; may be repeated.")
@_wire_options
@click.option("--phases", type=NAMES, help="Phases in the quick scan. By default nb3sn,nb,cu-sn.")
@dopant_options
@click.option("--mount", type=click.Choice(MOUNTS), default="ground-powder", show_default=True,
              help="How the specimen is mounted.")  # fmt: skip
@specimen_options
@reading_options
@click.option("--figure", type=PICTURE, help="Save the figure of the answer to this file.")
@details_option
def plan_scan(about: str, figure: Path | None, details: bool, **told: Any) -> None:
    """Plan a scan: how long, where, which radiation, which wires.

    DESCRIPTION is a TOML file that tells the specimen (docs/howto/scan-planning.md); a quick scan (--from-pattern)
    gives real count rates and background instead. All is worked out with the model that fits the patterns.
    """
    parts, draw = {"scan": _scan, "radiation": _radiation, "wires": _wires}[about](told, details)
    show(*parts)
    if figure is not None:
        from xrdorder.figures import scan

        save_figure(draw(scan), figure)


def _scan(told: dict[str, Any], details: bool) -> Answer:
    from xrdorder.scan_planning.plan import plan_scan as planned
    from xrdorder.scan_planning.plan import write_ranges

    if not told["least_share"] < 1.0:
        raise click.BadParameter(f"--least-share {told['least_share']:g}: give a part of a uniform scan, below 1")
    prospect, targets = _prospect(told), _targets(told)
    seconds = None if told["hours"] is None else 3600.0 * told["hours"]
    with Progress("planning") as progress:
        plan = planned(
            prospect, targets, seconds=seconds, least=told["least_share"], anchor_tc_k=told["measured_tc_k"],
            progress=progress,
        )  # fmt: skip
    parts = plan.parts(details=details)
    if told["table"] is not None:
        write_ranges(plan, told["table"])
        parts.append(File("Table", str(told["table"])))
    return parts, lambda figures: figures.ranges_figure(plan)


def _radiation(told: dict[str, Any], details: bool) -> Answer:
    from xrdorder.scan_planning.radiation_choice import choices
    from xrdorder.views.scan import radiation_parts

    dopants = {element: content / 100.0 for element, (content, _) in told["dopants"].items()}
    lights = choices(told["consider"], dopants)
    times: list[float] = []
    if told["description"] is not None and told["instrument"] is not None:
        from xrdorder.profiles import read_instrument
        from xrdorder.scan_planning.order_by_radiation import time_for_order

        with Progress("planning"):
            times = time_for_order(_described(told), read_instrument(told["instrument"]), lights)
    parts = radiation_parts(lights, times, details=details)
    return parts, lambda figures: figures.radiation_figure(lights, dopants)


def _wires(told: dict[str, Any], details: bool) -> Answer:
    from xrdorder.scan_planning.forecast import forecast
    from xrdorder.scan_planning.power import BY_X_RAYS, Costs
    from xrdorder.scan_planning.wires_plan import plan_wires
    from xrdorder.views.scan import scale_of

    if told["quantity"] not in _ASKED:
        raise click.BadParameter(f"--of {told['quantity']} is not planned for; choose among {', '.join(_ASKED)}")
    name = _ASKED[told["quantity"]]
    factor, unit = scale_of(name)
    if told["detect"] is None:
        raise click.UsageError(f"--detect is missing: the difference in {name} to detect, in {unit or 'plain numbers'}")
    for option in ("power", "alpha"):
        if not told[option] < 1.0:
            raise click.BadParameter(f"--{option} {told[option]:g}: give a probability below 1")
    expected = None
    if name in BY_X_RAYS and (told["description"] or told["from_pattern"]):
        with Progress("planning"):
            estimates = name in ("tin_fraction", "Tc_K", "Bc2_0K_T")
            expected = forecast(_prospect(told), estimates=estimates, anchor_tc_k=told["measured_tc_k"])
    plan = plan_wires(
        name,
        factor * told["detect"],
        expected,
        Costs(*told["cost"]),
        scatter=None if told["scatter"] is None else factor * told["scatter"],
        study=told["study"],
        u_measured=None if told["u_measured"] is None else factor * told["u_measured"],
        power=told["power"],
        alpha=told["alpha"],
    )
    return plan.parts(details=details), lambda figures: figures.wires_figure(plan, factor, unit)


def _targets(told: dict[str, Any]) -> tuple[Target, ...]:
    from xrdorder.scan_planning.plan import Target

    return tuple(
        Target(name, factor * told[option], told["difference"] or name in _ONLY_DIFFERENCES)
        for option, (name, factor) in _TARGETS.items()
        if told[option] is not None
    )


def _prospect(told: dict[str, Any]) -> Prospect:
    """Specimen and instrument, from a description or from a quick scan."""
    from xrdorder.profiles import read_instrument
    from xrdorder.scan_planning import Prospect

    if (told["description"] is None) == (told["from_pattern"] is None):
        raise click.UsageError("give either a DESCRIPTION of the specimen or a quick scan (--from-pattern)")
    if told["instrument"] is None:
        raise click.UsageError("--instrument is missing: the instrument file from xrdorder calibrate")
    instrument = read_instrument(told["instrument"])
    if told["description"] is not None:
        return Prospect.of_description(_described(told), instrument)
    return _quick(told, instrument)


def _described(told: dict[str, Any]) -> Any:
    from dataclasses import replace

    from xrdorder.simulation import read_description

    description = read_description(told["description"])
    if told["angles"] is not None:
        description = replace(description, from_deg=told["angles"][0], to_deg=told["angles"][1])
    if told["specimen_length_mm"] is not None:
        description = replace(description, specimen_length_mm=told["specimen_length_mm"])
    return description


def _quick(told: dict[str, Any], instrument: Any) -> Prospect:
    from xrdorder.fitting import DEFAULT_PHASES
    from xrdorder.material import Specimen
    from xrdorder.patterns import read_patterns
    from xrdorder.scan_planning import Prospect
    from xrdorder.scan_planning.prospect import within

    reading = given({name: told[name] for name in ("radiation", "axis", "axis_unit", "diffractogram")})
    pattern = read_patterns((told["from_pattern"],), **reading)
    if told["angles"] is not None:
        pattern = within(pattern, *told["angles"])
    dopants = {element: content / 100.0 for element, (content, _) in told["dopants"].items()}
    specimen = Specimen(dopants=dopants, undoped=told["undoped"], mount=told["mount"], lot="lot")
    return Prospect.of_quick_scan(
        pattern,
        instrument,
        specimen=specimen,
        phases=told["phases"] or DEFAULT_PHASES,
        specimen_length_mm=told["specimen_length_mm"],
        divergence_deg=told["divergence_deg"],
    )
