"""Every figure there is, of made data: what `xrdorder report` draws by its names, and those of other commands.

Fifteen pieces of two lots with the treatments of the demo and invented numbers, so that names, replicates and rows
are as many as in a study; `test_all_figures` sees to it that no figure is forgotten.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache, partial
from pathlib import Path
from tempfile import mkdtemp

import numpy as np
from matplotlib.figure import Figure

from demo_patterns.make_demo import PIECES as DEMO
from tests import descriptions
from tests.drawn import made_conductor, made_layer
from tests.figures import made
from tests.figures.test_scan import planned_scan, planned_wires
from tests.reports.made import OpenedWithLines, opened
from xrdorder.drawing.layout import SCREEN, Size
from xrdorder.estimates.from_numbers import estimate
from xrdorder.figures import bc2_figure, estimate_figure, section_figure
from xrdorder.figures.scan import radiation_figure, ranges_figure, wires_figure
from xrdorder.profiles import INSTRUMENT_NAMES, Instrument, write_instrument
from xrdorder.reports.gallery import MAKERS
from xrdorder.reports.of_fits import fit_pictures
from xrdorder.reports.pictures import Scene
from xrdorder.scan_planning.radiation_choice import choices
from xrdorder.uncertainty import Contributions

PIECES = tuple(
    (
        one.name, one.lot, one.hold_c, one.hours, 0.90 + 0.0008 * (one.hold_c - 625) + 0.004 * (k % 3),
        0.235 + 9e-5 * (one.hold_c - 625) + 0.001 * (k % 2), 16.6 + 0.01 * (one.hold_c - 625) + 0.1 * (k % 2),
    )
    for k, one in enumerate(DEMO)
)  # fmt: skip
"""As `tests.figures.made.results` takes them: rising with temperature, with scatter."""
SIZES_NM = tuple(60.0 * np.exp(0.006 * (one.hold_c - 625)) * (1.0 + 0.05 * (k % 3)) for k, one in enumerate(DEMO))
AMOUNTS = tuple(0.86 + 0.0008 * (one.hold_c - 625) + 0.01 * (k % 2) for k, one in enumerate(DEMO))
LINES = (*made.LINES, ("nb3sn", "2 2 0", 48.69, 40.0), ("nb3sn", "3 1 0", 54.87, 50.0))
_FIELDS_T, _KRAMER_T = (10.0, 12.0, 14.0, 16.0, 18.0), 24.0


def instrument() -> Instrument:
    """An instrument with Gaussian and Lorentzian widths."""
    zero = np.zeros(len(INSTRUMENT_NAMES))
    values = dict.fromkeys(INSTRUMENT_NAMES, 0.0) | {"gauss_const": 0.0016, "gauss_tan2": 0.0009, "lorentz_sec": 0.01}
    return Instrument("cu-ka", 217.5, values, np.zeros((zero.size,) * 2), zero, zero, zero, standard="srm-660c")


def _measured(k: int) -> tuple[object, ...]:
    """What was measured on the k-th piece: of every third Tc, Bc2 and tin, of two critical currents as well."""
    if k % 3:
        return ()
    said = descriptions.measured
    found = [said("Tc_K", 17.4 + 0.05 * k, 0.1), said("Bc2_T", 24.0 + 0.1 * k, 0.3, temperature_k=4.2),
             said("tin_at_percent", 23.2 + 0.1 * k, 0.4)]  # fmt: skip
    if k < 6:
        found += [
            said("critical_current_a", (10.0 * (_KRAMER_T + k - b)) ** 2 / b**0.5, 20.0, temperature_k=4.2, field_t=b)
            for b in _FIELDS_T
        ]
    return tuple(found)


class _Opened(OpenedWithLines):
    """With all lines that carry the order."""

    def sample(self, name, groups=()):
        found = super().sample(name)
        return replace(found, groups={**found.groups, "curves": made.curves(keep=LINES), "lines": made.lines(LINES)})


@cache
def scene() -> Scene:
    """The study, as a report sees it."""
    folder = Path(mkdtemp(prefix="xrdorder-figures-"))
    write_instrument(instrument(), folder / "instrument.toml")
    samples = [
        descriptions.changed(one, measured=_measured(k)) for k, one in enumerate(made.described(PIECES))
    ]
    plain = opened(folder, "Made", PIECES, sizes=SIZES_NM, samples=samples, amounts=AMOUNTS)
    study = descriptions.changed(plain.study, instrument=folder / "instrument.toml")
    return Scene.of(_Opened(study, plain.results))


def _of_report(name: str, size: Size) -> Figure:
    maker = next(one for one in MAKERS if one.name == name)
    return maker.draw(replace(scene(), size=size)).figure


def _fit(size: Size, *, alone: bool) -> Figure:
    (picture,) = fit_pictures(replace(scene(), size=size), alone=alone)
    return picture.figure


@cache
def _conductors():
    table = Contributions.empty().extend("tin_fraction_lattice", {}, {"scale": (0.003, "published")})
    table = table.extend("domain_size_nm", {}, {"counting": (4.0, "")})
    return [
        made_conductor(name, ({"tin_fraction_lattice": tin, "domain_size_nm": nm}, table), lot="A", n=500)
        for name, tin, nm in (("620 °C", 0.228, 70.0), ("680 °C", 0.233, 100.0), ("750 °C", 0.240, 170.0))
    ]


@cache
def _layers():
    even = {"tin_fraction_lattice": 0.235, "domain_size_nm": 100.0}
    graded = {**even, "tin_spread": 0.008, "lattice_tail_nm": 1.1e-4}
    return {name: made_layer((one, Contributions.empty()), n=500) for name, one in (("even", even), ("graded", graded))}


FIGURES: dict[str, Callable[[Size], Figure]] = {
    "fit": partial(_fit, alone=False), "pattern": partial(_fit, alone=True),
    **{one.name: partial(_of_report, one.name) for one in MAKERS},
    "bc2-temperature": lambda size: bc2_figure(_conductors(), size=size),
    "section": lambda size: section_figure(_layers(), size=size),
    "estimate": lambda size: estimate_figure(estimate(lattice_nm=0.5288, site_order=0.93).rows(), size=size),
    "ranges": lambda size: ranges_figure(planned_scan(), size=size),
    "radiation": lambda size: radiation_figure(choices(("18.5 keV",)), size=size),
    "wires": lambda size: wires_figure(planned_wires(), 1.0, "K", size=size),
}  # fmt: skip
"""By name, each for a size. The furnace run stands with the tests of runs, which make one."""
PANELS = tuple(one.name for one in MAKERS if one.alone)
"""Single panels: drawn for one column, which they are for."""


def figure(name: str, size: Size = SCREEN) -> Figure:
    """Draw one."""
    return FIGURES[name](size)
