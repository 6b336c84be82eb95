"""Plans of scans, radiations and numbers of wires: the answer in ten lines, and everything behind it on request."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import partial

from xrdorder.quantities.formatting import digits, with_sign
from xrdorder.quantities.registry import quantity
from xrdorder.quantities.tables import Column, Entry, Heading, Part, Table
from xrdorder.scan_planning.forecast import remedy
from xrdorder.scan_planning.plan import Need, ScanPlan
from xrdorder.scan_planning.power import Mix
from xrdorder.scan_planning.radiation_choice import Light
from xrdorder.scan_planning.wires_plan import WiresPlan
from xrdorder.views.showing import parts, table

CAUTION = "X-rays injure: trained people, interlocks working, local rules come first."
BEAM = "At a synchrotron the beam line's rules and staff come first; a wire heats and filaments move in a strong beam."
_LENGTHS = (0.25, 1.0, 4.0, 16.0, 64.0)
_MOST_RANGES = 3  # in the short answer
_MEANINGS = (
    "Uncertainties are standard ones (k = 1), all sources included. takes: length of a uniform scan that reaches the "
    "target; limit: what counting without end would leave; A - B: of the difference of two equal wires of a lot, one "
    "scan each. Tin, Tc and Bc2 are those of the joint model of a study.",
    "Times are those at the points together; a detector that sees many points at once is faster by their number.",
)


def scale_of(name: str) -> tuple[float, str]:
    """Factor from the unit in which differences of a quantity are shown to that in which it is stored; and the unit."""
    if name == "Ic":  # no quantity of a pattern: a share of itself
        return 1e-2, "%"
    shown = quantity(name).differences
    return 1.0 / shown.factor, shown.unit


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


def _noun(need: Need) -> str:
    return ("difference in " if need.target.of_difference else "") + quantity(need.target.quantity).noun


def _unit(need: Need) -> str:
    return quantity(need.target.quantity).differences.unit


@parts.register(ScanPlan)
def _(plan: ScanPlan, details: bool = False) -> list[Part]:
    """How long, where, and what no counting gives."""
    angles, now = plan.prospect.two_theta, plan.prospect.seconds
    origin = "as described" if plan.prospect.measured is None else "as the quick scan"
    said: list[Part] = [
        f"{angles[0]:.4g} to {angles[-1]:.4g} degrees, {len(angles)} steps, {plan.prospect.instrument.radiation}; "
        f"{origin}: {hours(now)}",
        *_where(plan, details=details),
        *(_beyond(need) for need in plan.needs if need.out_of_reach),
        table(plan),
    ]
    if details:
        said += ["", _courses(plan), "", *_budget(plan), "", *_MEANINGS, ""]
    return [*said, CAUTION]


@table.register(ScanPlan)
def _(plan: ScanPlan) -> Table:
    """Give uncertainties by the planned scan, wanted, how long they take, and what counting without end leaves."""
    now = plan.prospect.seconds
    columns: tuple[Column[Need], ...] = (
        ("uncertainty of", _noun),
        ("unit", _unit),
        (Heading(f"in {hours(now)}"), lambda need: _scaled(need, need.course.u(now))),
        (Heading("target"), lambda need: _scaled(need, need.target.u)),
        (Heading("takes"), lambda need: "-" if math.isnan(need.seconds) else hours(need.seconds)),
        (Heading("limit"), lambda need: _scaled(need, need.course.limit, 3)),
        (Heading("A - B", optional=1),
         lambda need: "-" if need.target.of_difference else _scaled(need, need.other.u(now))),
    )  # fmt: skip
    return Table.by(plan.needs, columns)


def _courses(plan: ScanPlan) -> Table:
    """Uncertainties against the length of a uniform scan."""

    def after(seconds: float, need: Need) -> str:
        return _scaled(need, need.course.u(seconds), 3)

    lengths = [plan.prospect.seconds * factor for factor in _LENGTHS]
    columns: list[Column[Need]] = [("a uniform scan of", _noun), ("unit", _unit)]
    columns += [(Heading(hours(seconds)), partial(after, seconds)) for seconds in lengths]
    return Table.by(plan.needs, [*columns, (Heading("no end"), lambda need: _scaled(need, need.course.limit, 3))])


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


def _beyond(need: Need) -> Part:
    """A target that no counting reaches."""
    helps = f". It takes {need.help}" if need.help else ""
    target = f"{_noun(need)} to {_scaled(need, need.target.u)} {_unit(need)}".rstrip()
    return Entry("Not reached", f"{target}: counting ends at {_scaled(need, need.course.limit)} ({need.cause}){helps}")


def _budget(plan: ScanPlan) -> list[Part]:
    """What stays of each quantity, source by source, with what would lower it."""
    said: list[Part] = ["What no counting of the specimen takes away (standard uncertainties):"]
    for need in plan.needs:
        for family, u in need.blame[:4]:
            line = f"  {_noun(need)}: {family} {_scaled(need, u)} {_unit(need)}".rstrip()
            said.append(f"{line} - {words}" if (words := remedy(family)) else line)
        if not need.blame:
            said.append(f"  {_noun(need)}: {need.cause} - {need.help}")
    return said


def radiation_parts(lights: Sequence[Light], times: Sequence[float] = (), *, details: bool) -> list[Part]:
    """Contrast, fluorescence, depth and trust, by radiation; times that the order takes, where they are known."""
    copper = next(radiation for radiation in lights if radiation.name == "cu-ka")
    best = max(
        (radiation for radiation in lights if not radiation.near_edge),
        key=lambda radiation: radiation.order_share,
    )
    time_of = dict(zip(lights, times, strict=bool(times)))
    columns: tuple[Column[Light] | None, ...] = (
        ("radiation", lambda light: light.name),
        (Heading("keV"), lambda light: f"{light.energy_ev / 1e3:.3f}"),
        (Heading("contrast"), lambda light: f"{light.contrast:.0f}"),
        (Heading("share %"), lambda light: f"{100 * light.order_share:.1f}"),
        (Heading("tables %"), lambda light: f"{100 * light.by_table:.1f}"),
        (Heading("fluorescence %"), lambda light: f"{100 * light.fluorescence:.0f}"),
        (Heading("1/µ µm"), lambda light: f"{light.depth_um:.1f}"),
        (Heading("time"), lambda light: f"{time_of[light]:.2f}") if times else None,
        (Heading("(110) at"), lambda light: f"{light.two_theta_110:.1f}°") if details else None,
        ("nearest edge", lambda light: f"{light.edge} {with_sign(light.from_edge_ev, '.0f')} eV") if details else None,
    )
    ratio = best.contrast / copper.contrast
    said: list[Part] = [
        f"Largest order contrast: {best.name}, {best.energy_ev / 1e3:.3f} keV, {ratio:.1f} times that of cu-ka.",
        *(Entry("Warning", radiation.warning) for radiation in lights if radiation.warning),
        Table.by(lights, columns),
    ]
    if details:
        said += [
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
    return [*said, CAUTION]


@parts.register(WiresPlan)
def _(plan: WiresPlan, details: bool = False) -> list[Part]:
    """The cheapest way to see a difference."""
    factor, unit = scale_of(plan.quantity)
    noun = "critical current" if plan.quantity == "Ic" else quantity(plan.quantity).noun
    what = f"{plan.difference / factor:g} {unit}".strip()
    aim = f"to see {what} in {noun}"
    scatter = f"{_u(plan.scatter.u / factor)} {unit}".rstrip()
    tested = f"alpha = {plan.alpha:g}, power {100 * plan.power:g} %"
    known = f"Wires scatter by {scatter} about their treatment ({plan.scatter.source}); {tested}."
    if plan.mixes:
        cheapest = min(plan.mixes, key=lambda mix: mix.cost)
        by = cheapest.by.replace("measured", "measured values")
        said: list[Part] = [f"{cheapest.wires} wires of each treatment, by {by}, {aim}.", known]
    else:
        said = [f"{plan.words[0].upper()}{plan.words[1:]}, {aim}.", known]
    if plan.at_best is not None:
        said.append(f"Their scatter alone takes {plan.at_best} wires of each treatment, whatever is measured.")
    if plan.mixes:
        said += ["", table(plan), ""]
    if details:
        said += [
            f"Costs: {plan.costs.wire:g} a wire, {plan.costs.hour:g} an hour of scanning, {plan.costs.measured:g} a "
            "measured value. Means of equal numbers of wires by Student's t, two-sided; scans from a 64th to 64 times "
            "the one described were tried. Several quantities or treatments compared at once take more "
            "(docs/howto/comparing.md).",
        ]
    return [*said, CAUTION]


@table.register(WiresPlan)
def _(plan: WiresPlan) -> Table:
    """Give what each kind of measurement takes, the cheapest first."""
    factor, unit = scale_of(plan.quantity)
    columns: tuple[Column[Mix], ...] = (
        ("by", lambda mix: mix.by),
        (Heading("wires of each treatment"), lambda mix: str(mix.wires)),
        (Heading("scan of each"), lambda mix: hours(mix.seconds) if mix.seconds else "-"),
        (Heading("cost"), lambda mix: f"{mix.cost:.4g}"),
        (Heading("power", "%"), lambda mix: f"{100 * mix.power:.0f}"),
        (Heading("u of difference", unit), lambda mix: _u(mix.u / factor)),
    )
    return Table.by(plan.mixes, columns)
