"""Options and values that several commands share."""

import functools
import math
import re
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    ParamType = click.ParamType[Any]
else:  # generic in click's stubs only from 8.2 on, and not at run time before
    ParamType = click.ParamType

Decorated = TypeVar("Decorated", bound=Callable[..., Any])

MOUNTS = ("ground-powder", "whole-filaments", "polished-section", "wires-laid-flat", "transmission")
ENGINES = ("own", "scipy")
AXES = ("two-theta", "d", "q")
AXIS_UNITS = ("degree", "nm", "angstrom", "1/nm", "1/angstrom")
GEOMETRIES = ("reflection", "transmission", "capillary")
LATTICE_DISTRIBUTIONS = ("auto", "single", "tail", "two-populations")
"""Names that the library defines; repeated here because help must not load it (a test holds them equal)."""

_PLUS_MINUS = re.compile(r"\+/?-|±")

EXISTING_FILE = click.Path(exists=True, dir_okay=False, path_type=Path)


class Parsed(ParamType):
    """A value that `read` makes of text; it raises ValueError with what is wrong."""

    def __init__(self, name: str, read: Callable[[str], Any]) -> None:
        self.name, self.read = name, read

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Read text; what is a value already stays."""
        try:
            return self.read(value) if isinstance(value, str) else value
        except ValueError as error:
            self.fail(str(error), param, ctx)


def _number(text: str) -> float:
    """Read a finite number."""
    try:
        number = float(text)
    except ValueError:
        raise ValueError(f"'{text}' is not a number (decimal point, no unit)") from None
    if not math.isfinite(number):
        raise ValueError(f"'{text}' is not a finite number")
    return number


def _positive(text: str) -> float:
    if not (number := _number(text)) > 0.0:
        raise ValueError(f"{text} is not above zero")
    return number


def _numbers(text: str) -> tuple[float, ...]:
    return tuple(_positive(part.strip()) for part in text.split(","))


def _pair(text: str, read: Callable[[str], float] = _positive) -> tuple[float, ...]:
    numbers = tuple(read(part.strip()) for part in text.split(","))
    if len(numbers) != 2:
        raise ValueError(f"'{text}' is not two numbers joined by a comma")
    return numbers


def _names(text: str) -> tuple[str, ...]:
    names = tuple(part.strip() for part in text.split(","))
    if not all(names):
        raise ValueError(f"'{text}' holds an empty name")
    return names


def _content(text: str) -> tuple[str, float, float | None]:
    """Split at the equals sign and at the plus-minus: an element, its content, and maybe the uncertainty of it."""
    element, sign, numbers = (part.strip() for part in text.partition("="))
    if not sign or not element:
        raise ValueError(f"'{text}' is not an element and its at.%, as Ta=2.4 or Ta=2.4+-0.2")
    content, *u = (part.strip() for part in _PLUS_MINUS.split(numbers))
    if len(u) > 1:
        raise ValueError(f"'{text}' has more than one uncertainty; give it as Ta=2.4+-0.2")
    return element, _number(content), _positive(u[0]) if u else None


def _named(name: str, example: str, *, count: int, whole: bool = False) -> Parsed:
    """A name and its numbers, as Nb=-2.1,0.6."""

    def read(text: str) -> tuple[str, tuple[float, ...]]:
        owner, _, rest = text.partition("=")
        try:
            numbers = tuple((int if whole else float)(part) for part in rest.split(","))
        except ValueError:
            numbers = ()
        if not owner.strip() or len(numbers) != count or not all(map(math.isfinite, numbers)):
            raise ValueError(f"'{text}' is not {name}, as {example}")
        return owner.strip(), numbers

    return Parsed(name, read)


POSITIVE, ANY = Parsed("number", _positive), Parsed("number", _number)
NUMBERS, PAIR = Parsed("number[,number]", _numbers), Parsed("number,number", _pair)
NAMES, CONTENT = Parsed("name[,name...]", _names), Parsed("element=at.%", _content)


def all_of(*options: Callable[[Decorated], Decorated]) -> Callable[[Decorated], Decorated]:
    """Join decorators; help lists the options in this order."""

    def decorate(function: Decorated) -> Decorated:
        for option in reversed(options):
            function = option(function)
        return function

    return decorate


reading_options = all_of(
    click.option("--radiation", help="Radiation, as cu-ka or '0.15406 nm', where the file does not say."),
    click.option("--axis", type=click.Choice(AXES), help="First column of the pattern; two-theta by default."),
    click.option("--axis-unit", type=click.Choice(AXIS_UNITS), help="Unit of d or q."),
    click.option(
        "--diffractogram",
        help="Which one of a powder CIF that names several: its id, or 'all' where they are scans of one specimen.",
    ),
)

specimen_options = all_of(
    click.option("--divergence-deg", type=POSITIVE, help="Opening of the fixed divergence slit in degrees."),
    click.option("--specimen-length-mm", type=POSITIVE, help="Length of the specimen along the beam."),
)


def _each_once(
    ctx: click.Context, param: click.Parameter, given: tuple[tuple[str, tuple[float, ...]], ...]
) -> dict[str, tuple[float, ...]] | None:
    """Gather a repeated option by name; None where it was not given."""
    values = dict(given)
    if len(values) < len(given):
        raise click.BadParameter("a name is given twice", ctx=ctx, param=param)
    return values or None


_CHOICES: dict[str, dict[str, Any]] = {
    "lattice_distribution": {
        "type": click.Choice(LATTICE_DISTRIBUTIONS),
        "help": "A15 lattice parameters: by default a tail or a second population where the pattern asks for it.",
    },
    "texture_axes": {
        "type": _named("phase=h,k,l", "nb3sn=1,0,0", count=3, whole=True), "multiple": True, "callback": _each_once,
        "help": "Plane whose normal the grains of a phase prefer: March's function; may be repeated.",
    },
    "elastic_shifts": {"is_flag": True, "help": "Fit the strain of A15 grains held in a composite."},
    "depth_gradient": {"is_flag": True, "help": "Fit an A15 lattice parameter that changes with depth."},
    "roughness": {
        "type": Parsed("number,number", partial(_pair, read=_number)),
        "help": "Share p and length q of the surface roughness.",
    },
    "particle_size_um": {"type": POSITIVE, "help": "Mean size of the particles, for microabsorption of amounts."},
    "mu_t": {"type": ANY, "help": "Attenuation times thickness of a plate in transmission."},
    "mu_r": {"type": ANY, "help": "Attenuation times radius of a capillary."},
    "measured_dispersion": {
        "type": _named("element=f',f''", "Nb=-2.1,0.6", count=2), "multiple": True, "callback": _each_once,
        "help": "Measured f' and f'' of an element in electrons; may be repeated.",
    },
    "tube_lines": {"help": "Look for K-beta and tungsten lines of the tube; on by default."},
    "identify_phases": {"help": "Look for phases that explain unindexed lines; on by default."},
    "cross_checks": {"help": "Single lines and free intensities beside the fit; on by default."},
}  # fmt: skip
CHOICES = tuple(_CHOICES)
"""Names of the choices, as the fit knows them."""


def _choice(name: str, how: dict[str, Any]) -> Callable[[Decorated], Decorated]:
    option = f"--{name.replace('_', '-')}".replace("axes", "axis")
    if how.keys() == {"help"}:  # on, unless it is switched off
        option = f"{option}/--no-{option[2:]}"
    return click.option(option, name, default=() if how.get("multiple") else None, **how)


def choice_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Take the choices of the fit; the command gets those that were told as `choices`."""

    @functools.wraps(function)
    def gather(*args: Any, **told: Any) -> Any:
        choices = {name: told.pop(name) for name in CHOICES}
        return function(*args, choices={k: v for k, v in choices.items() if v is not None}, **told)

    return all_of(*(_choice(name, how) for name, how in _CHOICES.items()))(gather)


geometry_options = all_of(
    click.option("--geometry", type=click.Choice(GEOMETRIES), help="By default as the file says, else reflection."),
    click.option(
        "--illuminated-length-mm", type=POSITIVE, help="Length that a variable slit keeps lit, in place of a fixed one."
    ),
    click.option(
        "--polarisation-ratio",
        type=ANY,
        help="Intensity polarised in the diffraction plane over that across it: 1 unpolarised; no monochromator then.",
    ),
    *(_choice(name, _CHOICES[name]) for name in ("mu_t", "mu_r")),
    click.option("--focused", is_flag=True, help="The beam on a capillary is focused on the circle of the detector."),
)


def given(options: dict[str, Any]) -> dict[str, Any]:
    """Give the options that were used."""
    return {name: value for name, value in options.items() if value is not None}


def figures_saved(what: str) -> Callable[[Decorated], Decorated]:
    """Option that saves figures; the text says which."""
    return click.option("--figures/--no-figures", default=True, show_default=True, help=f"Save {what}.")


figures_option = figures_saved("a figure of every pattern")


def _one_state(ctx: click.Context, param: click.Parameter, design: str) -> str:
    """Refuse a design beside a strain, which would leave nothing for it to say."""
    if design and ctx.params.get("strain") is not None:
        raise click.BadParameter("give either the intrinsic strain or the design that it follows from", ctx, param)
    return design


strain_options = all_of(
    click.option(
        "--strain",
        type=ANY,
        is_eager=True,  # before the design, which is refused beside it
        help="Intrinsic axial strain of all wires; left out: the thermal pre-strain of the design.",
    ),
    click.option(
        "--design",
        default="",
        callback=_one_state,
        help="Design of all wires, for their pre-strain: bronze, internal-tin, powder-in-tube, none; left out: that "
        "which study.toml tells of each lot (design, or route).",
    ),
)
again_option = click.option("--again", is_flag=True, help="Fit all patterns again, even unchanged ones.")
workers_option = click.option(
    "--workers", type=click.IntRange(min=1), help="Number of processes; by default as many as cores."
)
cluster_option = click.option(
    "--cluster", metavar="ADDRESS",
    help="Fit on the workers of a dask scheduler, as tcp://host:8786 (docs/howto/cluster.md).",
)  # fmt: skip


def dopants_once(
    ctx: click.Context, param: click.Parameter, contents: tuple[tuple[str, float, float | None], ...]
) -> dict[str, tuple[float, float | None]]:
    """Gather repeated --dopant options, content and uncertainty in at.%; an element may be given once."""
    from xrdorder.material.specimen import LEAST_AT_PERCENT

    dopants: dict[str, tuple[float, float | None]] = {}
    for element, content, u in contents:
        if element in dopants:
            raise click.BadParameter(f"{element} is given twice", ctx=ctx, param=param)
        if not 0.0 <= content <= 20.0:
            text = f"{element}={content:g} is no content of a dopant in at.% (0 to 20)"
            raise click.BadParameter(text, ctx=ctx, param=param)
        if u is not None and u > 20.0:
            text = f"{element}={content:g}+-{u:g}: no uncertainty in at.% is above 20"
            raise click.BadParameter(text, ctx=ctx, param=param)
        dopants[element] = (content, u)
        if 0.0 < content < LEAST_AT_PERCENT:
            said = f"--dopant {element}={content:g} reads {content:g} at.%; did you mean {element}={100.0 * content:g}?"
            click.echo(f"xrdorder: remark: {said}", err=True)
    return dopants


def _not_beside_dopants(ctx: click.Context, param: click.Parameter, undoped: bool) -> bool:
    if undoped and ctx.params.get("dopants"):
        raise click.UsageError("--undoped and --dopant contradict each other; give one of them")
    return undoped


_dopant_option = click.option(
    "--dopant",
    "dopants",
    type=CONTENT,
    multiple=True,
    callback=dopants_once,
    is_eager=True,  # before --undoped, which is refused beside it
    help="Dopant content of the A15 in at.% (not a fraction), as Ta=2.4, or with its standard uncertainty (k = 1) as "
    "Ta=2.4+-0.2; may be repeated.",
)
dopant_options = all_of(
    _dopant_option,
    click.option(
        "--undoped", is_flag=True, callback=_not_beside_dopants, help="The wires are known to hold no dopant."
    ),
)
