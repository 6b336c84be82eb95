"""What plan-scan shows: the answer in ten lines, and everything behind it on request."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from xrdorder.cli.console import Entry, Part
from xrdorder.quantities.formatting import digits, with_sign
from xrdorder.quantities.registry import quantity
from xrdorder.quantities.tables import Heading, Table

if TYPE_CHECKING:
    from xrdorder.scan_planning.plan import Need, ScanPlan
    from xrdorder.scan_planning.radiation_choice import Light
    from xrdorder.scan_planning.wires_plan import WiresPlan

CAUTION = "X-rays injure: trained people, interlocks working, local rules come first."
BEAM = "At a synchrotron the beam line's rules and staff come first; a wire heats and filaments move in a strong beam."
_LENGTHS = (0.25, 1.0, 4.0, 16.0, 64.0)
_MOST_RANGES = 3  # in the short answer
_ASKED = {
    "site_order": "site_order",
    "a_pm": "a_nm",
    "tin_at_percent": "tin_fraction",
    "domain_size_nm": "domain_size_nm",
    "Tc_K": "Tc_K",
    "Bc2_0K_T": "Bc2_0K_T",
}
"""Differences that a plan can be asked for, by option; their scale is that of differences in the registry."""

_MEANINGS = (
    "Uncertainties are standard ones (k = 1), all sources included. takes: length of a uniform scan that reaches the "
    "target; limit: what counting without end would leave; A - B: of the difference of two equal wires of a lot, one "
    "scan each. Tin, Tc and Bc2 are those of the joint model of a study.",
    "Times are those at the points together; a detector that sees many points at once is faster by their number.",
)


def asked_of(name: str) -> tuple[str, float, str]:
    """Quantity of an option, the factor to its stored unit, and the unit that is shown."""
    if name == "Ic":  # no quantity of a pattern: a share of itself
        return name, 1e-2, "%"
    if name not in _ASKED:
        raise click.BadParameter(f"--of {name} is not planned for; choose among {', '.join([*_ASKED, 'Ic'])}")
    shown = quantity(_ASKED[name]).differences
    return _ASKED[name], 1.0 / shown.factor, shown.unit


def hours(seconds: float) -> str:
    """Write a time as a person would.

    >>> hours(90.0), hours(5400.0), hours(360000.0), hours(math.inf)
    ('1.5 min', '1.5 h', '100 h', 'never')
    """
    if math.isinf(seconds):
        return "never"
    if seconds < 3600.0:
        return f"{seconds / 60.0:.2g} min"
    return f"{seconds / 3600.0:.2g} h" if seconds < 36000.0 else f"{seconds / 3600.0:.0f} h"


def _u(number: float) -> str:
    return "-" if math.isnan(number) else digits(number, 2)


def _scaled(need: Need, stored: float, places: int = 2) -> str:
    number = quantity(need.target.quantity).differences.factor * stored
    return "-" if math.isnan(number) else digits(number, places)


def _named(need: Need) -> tuple[str, str]:
    about = quantity(need.target.quantity)
    return ("difference in " if need.target.of_difference else "") + about.noun, about.differences.unit


def scan_parts(plan: ScanPlan, *, details: bool) -> list[Part]:
    """How long, where, and what no counting gives."""
    angles, now = plan.prospect.two_theta, plan.prospect.seconds
    origin = "as described" if plan.prospect.measured is None else "as the quick scan"
    parts: list[Part] = [
        f"{angles[0]:.4g} to {angles[-1]:.4g} degrees, {len(angles)} steps, {plan.prospect.instrument.radiation}; "
        f"{origin}: {hours(now)}",
        *_where(plan, details=details),
        *_beyond(plan),
        _needs_table(plan),
    ]
    if details:
        parts += ["", _courses_table(plan), "", *_budget(plan), "", *_MEANINGS, ""]
    return [*parts, CAUTION]


def _needs_table(plan: ScanPlan) -> Table:
    now = plan.prospect.seconds
    numbers = [Heading(words) for words in (f"in {hours(now)}", "target", "takes", "limit")]
    rows = [
        (
            *_named(need), _scaled(need, need.course.u(now)), _scaled(need, need.target.u),
            "-" if math.isnan(need.seconds) else hours(need.seconds), _scaled(need, need.course.limit, 3),
            "-" if need.target.of_difference else _scaled(need, need.other.u(now)),
        ) for need in plan.needs
    ]  # fmt: skip
    return Table.of(["uncertainty of", "unit", *numbers, Heading("A - B", optional=1)], rows)


def _courses_table(plan: ScanPlan) -> Table:
    """Uncertainties against the length of a uniform scan."""
    lengths = [plan.prospect.seconds * factor for factor in _LENGTHS]
    rows = []
    for need in plan.needs:
        numbers = [*(need.course.u(seconds) for seconds in lengths), need.course.limit]
        rows.append((*_named(need), *(_scaled(need, number, 3) for number in numbers)))
    return Table.of(["a uniform scan of", "unit", *map(Heading, map(hours, lengths)), Heading("no end")], rows)


def _where(plan: ScanPlan, *, details: bool) -> list[Part]:
    """Ranges that get more than the least, or all of them."""
    allocation = plan.allocation
    least = min(stretch.seconds for stretch in allocation.ranges)
    gain = f"{allocation.gain:.2g} times as fast as uniform"
    uniform = f" (uniform {hours(plan.uniform_seconds)})" if plan.seconds < plan.uniform_seconds else ""
    line = f"{hours(plan.seconds)}{uniform}"
    if not details:
        more = sorted(allocation.ranges, key=lambda stretch: -stretch.seconds * stretch.points)
        shown = sorted(
            [stretch for stretch in more if stretch.seconds > 1.05 * least][:_MOST_RANGES],
            key=lambda stretch: stretch.from_deg,
        )
        texts = [f"{entry.seconds:g} s at {entry.from_deg:.1f}-{entry.to_deg:.1f}" for entry in shown]
        texts.append(f"else {least:g} s and more" if texts else f"{least:g} s everywhere")
        return [Entry("Count", f"{line}: {'; '.join(texts)} a step; {gain}")]
    guard = ", ".join(allocation.guarded) or "none"
    return [
        f"{line}: {gain}. Ranges, degrees 2 theta:",
        *(f"  {stretch.words()} a step" for stretch in allocation.ranges),
        Entry(
            "Guards",
            f"no range below {100 * float((allocation.share / allocation.uniform).min()):.0f} % of a uniform scan or "
            f"above half of the time; unknown beside all else: {guard}. At most {100 * allocation.gap:.2g} % above the "
            "least sum of variances.",
        ),
    ]


def _beyond(plan: ScanPlan) -> list[Part]:
    """Targets that no counting reaches."""
    parts: list[Part] = []
    for need in plan.needs:
        if need.out_of_reach:
            name, unit = _named(need)
            helps = f". It takes {need.help}" if need.help else ""
            parts.append(
                Entry(
                    "Not reached",
                    f"{name} to {_scaled(need, need.target.u)} {unit}".rstrip()
                    + f": counting ends at {_scaled(need, need.course.limit)} ({need.cause}){helps}",
                )
            )
    return parts


def _budget(plan: ScanPlan) -> list[Part]:
    """What stays of each quantity, source by source, with what would lower it."""
    from xrdorder.scan_planning.forecast import remedy

    parts: list[Part] = ["What no counting of the specimen takes away (standard uncertainties):"]
    for need in plan.needs:
        name, unit = _named(need)
        for family, u in need.blame[:4]:
            words = remedy(family)
            parts.append(f"  {name}: {family} {_scaled(need, u)} {unit}".rstrip() + (f" - {words}" if words else ""))
        if not need.blame:
            parts.append(f"  {name}: {need.cause} - {need.help}")
    return parts


def radiation_parts(lights: Sequence[Light], times: Sequence[float] = (), *, details: bool) -> list[Part]:
    """Contrast, fluorescence, depth and trust, by radiation; times that the order takes, where they are known."""
    copper = next(radiation for radiation in lights if radiation.name == "cu-ka")
    best = max(
        (radiation for radiation in lights if not radiation.near_edge),
        key=lambda radiation: radiation.order_share,
    )
    head: list[Heading | str] = ["radiation", *map(Heading, ("keV", "contrast", "share %", "tables %"))]
    head += map(Heading, ("fluorescence %", "1/µ µm"))
    head += [Heading("time")] * bool(times)
    head += [Heading("(110) at"), "nearest edge"] if details else []
    rows = [
        (
            radiation.name, f"{radiation.energy_ev / 1e3:.3f}", f"{radiation.contrast:.0f}",
            f"{100 * radiation.order_share:.1f}", f"{100 * radiation.by_table:.1f}",
            f"{100 * radiation.fluorescence:.0f}", f"{radiation.depth_um:.1f}",
            *([f"{times[k]:.2f}"] if times else []),
            *([f"{radiation.two_theta_110:.1f}°"] if details else []),
            *([f"{radiation.edge} {with_sign(radiation.from_edge_ev, '.0f')} eV"] if details else []),
        ) for k, radiation in enumerate(lights)
    ]  # fmt: skip
    ratio = best.contrast / copper.contrast
    parts: list[Part] = [
        f"Largest order contrast: {best.name}, {best.energy_ev / 1e3:.3f} keV, {ratio:.1f} times that of cu-ka.",
        *(Entry("Warning", radiation.warning) for radiation in lights if radiation.warning),
        Table.of(head, rows),
    ]
    if details:
        parts += [
            "",
            "contrast: |f_Sn - f_Nb|² at the line (110), electrons². share: over the squared mean scattering, "
            "which the strong lines go with. tables: contrast by Chantler's f' and f'' against Cromer and Liberman's; "
            "half of it is the relative error of the order. fluorescence: photons for each one absorbed; a detector "
            "that does not tell energies counts them as background. 1/µ: in dense Nb3Sn; light that goes deeper "
            "averages over more grains and more of the layer. time: that the order takes at equal counts of the "
            "strongest line and the background, over that with the radiation of the instrument.",
            "Nearer than 30 eV to an edge no table holds: f' and f'' must be measured on the beam line, by a "
            "fluorescence scan over the edge.",
            BEAM,
        ]
    parts.append(CAUTION)
    return parts


def wires_parts(plan: WiresPlan, factor: float, unit: str, *, details: bool) -> list[Part]:
    """The cheapest way to see a difference."""
    noun = "critical current" if plan.quantity == "Ic" else quantity(plan.quantity).noun
    what = f"{plan.difference / factor:g} {unit}".strip()
    aim = f"to see {what} in {noun}"
    scatter = f"{_u(plan.scatter.u / factor)} {unit}".rstrip()
    tested = f"alpha = {plan.alpha:g}, power {100 * plan.power:g} %"
    known = f"Wires scatter by {scatter} about their treatment ({plan.scatter.source}); {tested}."
    if plan.mixes:
        cheapest = min(plan.mixes, key=lambda mix: mix.cost)
        by = cheapest.by.replace("measured", "measured values")
        parts: list[Part] = [f"{cheapest.wires} wires of each treatment, by {by}, {aim}.", known]
    else:
        parts = [f"{plan.words[0].upper()}{plan.words[1:]}, {aim}.", known]
    if plan.at_best is not None:
        parts.append(f"Their scatter alone takes {plan.at_best} wires of each treatment, whatever is measured.")
    if plan.mixes:
        head: list[Heading | str] = ["by", Heading("wires of each treatment"), Heading("scan of each"), Heading("cost")]
        head += [Heading("power", "%"), Heading("u of difference", unit)]
        rows = [
            (
                mix.by, str(mix.wires), hours(mix.seconds) if mix.seconds else "-", f"{mix.cost:.4g}",
                f"{100 * mix.power:.0f}", _u(mix.u / factor),
            ) for mix in plan.mixes
        ]  # fmt: skip
        parts += ["", Table.of(head, rows), ""]
    if details:
        parts += [
            f"Costs: {plan.costs.wire:g} a wire, {plan.costs.hour:g} an hour of scanning, {plan.costs.measured:g} a "
            "measured value. Means of equal numbers of wires by Student's t, two-sided; scans from a 64th to 64 times "
            "the one described were tried. Several quantities or treatments compared at once take more "
            "(docs/howto/comparing.md).",
        ]
    parts.append(CAUTION)
    return parts
