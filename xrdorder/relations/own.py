"""Relations that a laboratory adds from a file of its own, and published ones it adjusts by offset and slope.

    [[relation]]
    name = "our-tc"
    kind = "tc-from-tin"
    title = "twelve bronze wires"
    expression = "Tc0 - 12 / (1 + exp((beta - 0.22) / 0.009))"
    inputs = [{ name = "beta", usual = 0.24 }, { name = "Tc0", meaning = "highest Tc", unit = "K", usual = 18.1 }]
    source = "laboratory notebook 12, page 40"
    equation = "fit of June 2026"
    valid = [0.20, 0.25]
    scatter = 0.2
    wire = "Ta"

    [[adjustment]]
    of = "godeke-2006-boltzmann"
    name = "godeke-2006-boltzmann-ours"
    offset = 0.2
    u_offset = 0.1
    source = "ten wires of 2026"
    samples = ["wire-1", "wire-2"]

A slope needs `u_slope`, its standard uncertainty; `correlation` is that of offset and slope (0 unless given).

Units are those of the kind: fractions for tin, K, T, nm, microohm cm.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from xrdorder.exceptions import ValidityError
from xrdorder.files import read_text, toml_table
from xrdorder.relations.entry import KINDS, WIRES, Array, Relation, Scatter, Symbol
from xrdorder.relations.expression import compile_expression
from xrdorder.relations.library import PUBLISHED

_RELATION = {
    "name", "kind", "title", "expression", "inputs", "source", "equation", "valid", "scatter", "scatter_relative",
    "scatter_source", "wire", "criterion", "notes",
}  # fmt: skip
_ADJUSTMENT = {
    "of", "name", "offset", "u_offset", "slope", "u_slope", "correlation", "source", "wire", "criterion", "samples",
    "notes",
}  # fmt: skip
_INPUT = {"name", "meaning", "unit", "usual"}

_BEYOND = 5.0
"""Times the largest published input beyond which a range of fractions is one of per cent (own choice: wide enough for
what a laboratory measures beyond the published range, far below the hundred of the slip)."""

_EXACT = Scatter("exact")


@dataclass(frozen=True)
class LineScatter(Scatter):
    """Scatter of an adjusted relation: that of the relation itself and the doubt about offset and slope, in quadrature.

    Attributes
    ----------
    base : Scatter
        Of the relation that was adjusted.
    offset, slope : float
        new = offset + slope * old
    u_offset, u_slope, correlation : float
        Standard uncertainties of the two, and their correlation.

    Examples
    --------
    An offset of -3.0 ± 1.0 K and a slope of 1.2 ± 0.06 that hang together: at 17.4 K, where the relation itself says
    17 K, 1.0² + (17 · 0.06)² - 2 · 0.99 · 17 · 0.06 = 0.021, root 0.14 K.

    >>> base = Scatter("exact")
    >>> line = LineScatter("for the example", base=base, offset=-3.0, slope=1.2, u_offset=1.0, u_slope=0.06,
    ...                    correlation=-0.99)
    >>> float(line.at(0.24, 17.4).round(2))
    0.14
    """

    base: Scatter = _EXACT
    offset: float = 0.0
    slope: float = 1.0
    u_offset: float = 0.0
    u_slope: float = 0.0
    correlation: float = 0.0

    def at(self, first_input: ArrayLike, output: ArrayLike) -> Array:
        """Give the standard deviation for values of the first input and the output they lead to."""
        old = (np.asarray(output, dtype=np.float64) - self.offset) / self.slope
        by_slope = self.u_slope * old
        variance = self.u_offset**2 + by_slope**2 + 2.0 * self.correlation * self.u_offset * by_slope
        return np.asarray(np.sqrt((self.slope * self.base.at(first_input, old)) ** 2 + np.maximum(variance, 0.0)))


def read_relations(path: str | Path) -> tuple[Relation, ...]:
    """Read relations and adjustments of a laboratory.

    Parameters
    ----------
    path : str or Path
        TOML with `[[relation]]` and `[[adjustment]]` tables, as the module shows.

    An adjusted relation is asked in the place of the published one.

    Raises
    ------
    ValidityError
        Something in it is wrong: one line with file, entry, key and what to write.
    """
    path = Path(path)
    try:
        document = toml_table(read_text(path))
    except OSError as error:
        raise ValidityError(f"{path}: cannot be read ({error.strerror}); name a file of relations") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise ValidityError(f"{path}: is no TOML ({error}); mend it there") from error
    unknown = sorted(set(document) - {"relation", "adjustment"})
    if unknown:
        raise ValidityError(f"{path}: unknown key '{unknown[0]}'; write [[relation]] or [[adjustment]]")
    entries: list[Relation] = []
    for key, make in (("relation", _relation), ("adjustment", _adjustment)):
        tables = document.get(key, [])
        if not isinstance(tables, list) or not all(isinstance(table, dict) for table in tables):
            raise ValidityError(f"{path}: '{key}' is no list of tables; write [[{key}]] above each")
        for number, table in enumerate(tables, start=1):
            name = table.get("name")
            where = f"{path}: {key} " + (f"'{name}'" if isinstance(name, str) else str(number))
            try:
                entries.append(make(_Reader(table, where, path.name), entries))
            except ValueError as error:
                text = str(error)
                raise ValidityError(text if text.startswith(str(path)) else f"{where}: {text}") from error
    if not entries:
        raise ValidityError(f"{path}: holds no relation; write [[relation]] or [[adjustment]]")
    taken = {entry.name for entry in PUBLISHED.relations()}
    for entry in entries:
        if entry.name in taken:
            raise ValidityError(f"{path}: '{entry.name}' is the name of another relation; give this one its own")
        taken.add(entry.name)
    return tuple(entries)


class _Reader:
    """One table of the file, asked key by key."""

    def __init__(self, table: Mapping[str, Any], where: str, file: str = "") -> None:
        self.table, self.where, self.file = table, where, file

    def refuse(self, key: str, what: str) -> ValidityError:
        return ValidityError(f"{self.where}: {key} {what}")

    def only(self, known: Iterable[str]) -> None:
        unknown = sorted(set(self.table) - set(known))
        if unknown:
            raise self.refuse(f"key '{unknown[0]}'", f"is unknown; known are {', '.join(sorted(known))}")

    def text(self, key: str, default: str | None = None) -> str:
        value = self.table.get(key, default)
        if value is None:
            raise self.refuse(key, "is missing; give a text")
        if not isinstance(value, str) or not (value.strip() or default == ""):
            raise self.refuse(key, f"is {value!r}; give a text")
        return " ".join(value.split())

    def number(
        self, key: str, default: float | None = None, least: float = -np.inf, wanted: str = "a number"
    ) -> float:
        value = self.table.get(key, default)
        if isinstance(value, bool) or not isinstance(value, int | float) or not np.isfinite(value) or value < least:
            problem = "is missing" if value is None else f"is {value!r}"
            raise self.refuse(key, f"{problem}; give {wanted}" + ("" if least == -np.inf else f" of {least:g} or more"))
        return float(value)

    def words(self, key: str) -> tuple[str, ...]:
        value = self.table.get(key, [])
        if not isinstance(value, list) or not all(isinstance(word, str) and word.strip() for word in value):
            raise self.refuse(key, f'is {value!r}; give a list of names, as ["wire-1", "wire-2"]')
        return tuple(value)


def _relation(reader: _Reader, before: list[Relation]) -> Relation:
    reader.only(_RELATION)
    kind = reader.text("kind")
    if kind not in KINDS:
        raise reader.refuse("kind", f"is '{kind}'; known are {', '.join(KINDS)}")
    model = PUBLISHED.relations(kind)[0]
    wire = _wire(reader)
    inputs = _inputs(reader, model)
    valid = reader.table.get("valid")
    if not (isinstance(valid, list) and len(valid) == 2 and all(type(x) in (int, float) for x in valid)):
        raise reader.refuse("valid", f"is {valid!r}; give the range of the first input, [low, high]")
    published = max(abs(end) for entry in PUBLISHED.relations(kind) for end in entry.valid)
    if model.inputs[0].unit == "1" and max(map(abs, valid)) > _BEYOND * published:
        remedy = f"{inputs[0].name} is a fraction: write [{valid[0] / 100:g}, {valid[1] / 100:g}] for per cent"
        raise reader.refuse("valid", f"is {valid!r}, where it would never be asked; {remedy}")
    if "scatter" in reader.table and "scatter_relative" in reader.table:
        raise reader.refuse("scatter", "and scatter_relative are both given; give one of the two")
    relative = reader.number("scatter_relative", 0.0, 0.0)
    absolute = reader.number("scatter", 0.0 if "scatter_relative" in reader.table else None, 0.0)
    try:
        function = compile_expression(reader.text("expression"), tuple(symbol.name for symbol in inputs))
    except ValueError as error:
        raise error if isinstance(error, ValidityError) else reader.refuse("expression", str(error)) from error
    return Relation(
        name=reader.text("name"),
        kind=kind,
        title=reader.text("title", "relation of this laboratory"),
        formula=f"{model.output.name} = {reader.text('expression')}",
        function=function,
        inputs=inputs,
        output=model.output,
        source=reader.text("source"),
        equation=reader.text("equation", f"as in {reader.file}"),
        valid=(float(valid[0]), float(valid[1])),
        scatter=Scatter(
            reader.text("scatter_source", "stated by the laboratory"),
            ((float(valid[0]), absolute),),
            relative,
        ),
        known="own",
        notes=reader.text("notes", ""),
        criterion=reader.text("criterion", ""),
        wire=wire,
    )


def _wire(reader: _Reader, default: str = "any") -> str:
    wire = reader.text("wire", default)
    if wire not in WIRES:
        raise reader.refuse("wire", f"is '{wire}'; known are {', '.join(WIRES)}")
    return wire


def _inputs(reader: _Reader, model: Relation) -> tuple[Symbol, ...]:
    """Inputs in the order of the expression's function: the first is that of the kind, its unit too."""
    tables = reader.table.get("inputs")
    if not isinstance(tables, list) or not tables or not all(isinstance(table, dict) for table in tables):
        raise reader.refuse("inputs", 'is missing; give a list such as [{ name = "beta", usual = 0.24 }]')
    symbols = []
    for number, table in enumerate(tables):
        entry = _Reader(table, f"{reader.where}: input {number + 1}")
        entry.only(_INPUT)
        usual = model.inputs[number] if number < len(model.inputs) else None
        name = entry.text("name")
        if not name.isidentifier():
            raise entry.refuse("name", f"is '{name}'; use letters, digits and underscores, a letter first")
        if number == 0 and usual is not None and entry.text("unit", usual.unit) != usual.unit:
            raise entry.refuse("unit", f"is '{entry.text('unit')}'; relations of kind {model.kind} take {usual.unit}")
        symbols.append(
            Symbol(
                name,
                entry.text("meaning", usual.meaning if usual else ""),
                entry.text("unit", usual.unit if usual else "1"),
                entry.number("usual", usual.usual if usual else None),
            )
        )
    if len({symbol.name for symbol in symbols}) != len(symbols):
        raise reader.refuse("inputs", "name one twice; give each its own name")
    return tuple(symbols)


def _adjustment(reader: _Reader, before: list[Relation]) -> Relation:
    reader.only(_ADJUSTMENT)
    of = reader.text("of")
    candidates = {entry.name: entry for entry in (*PUBLISHED.relations(), *before)}
    if of not in candidates:
        raise reader.refuse("of", f"is '{of}', which is no relation; xrdorder relations lists them")
    model = candidates[of]
    if model.replaces:
        remedy = f"adjust '{model.replaces}' once, by both together"
        raise reader.refuse("of", f"is '{of}', which is adjusted itself; {remedy}")
    if not {"offset", "slope"} & set(reader.table):
        raise reader.refuse("offset", "is missing, and so is slope; give one of the two or both")
    scatter = _line_scatter(reader, model.scatter, "" if model.output.unit == "1" else f" {model.output.unit}")
    offset, slope = scatter.offset, scatter.slope
    unit = "" if model.output.unit == "1" else f" {model.output.unit}"
    sign = "+" if offset >= 0.0 else "-"
    times = "" if slope == 1.0 else f"{slope:g} x "
    return replace(
        model,
        name=reader.text("name"),
        title=f"{model.title}, adjusted by this laboratory",
        formula=f"{times}[{model.formula}] {sign} {abs(offset):g}{unit}",
        function=_adjusted(model.function, offset, slope),
        inverse=None if model.inverse is None else _inverse(model.inverse, offset, slope),
        source=f"{reader.text('source')}; on {model.source}",
        scatter=scatter,
        known="own",
        wire=_wire(reader, model.wire),
        criterion=reader.text("criterion", model.criterion),
        notes=reader.text("notes", model.notes),
        checks=(),
        replaces=of,
        samples=reader.words("samples"),
    )


def _line_scatter(reader: _Reader, base: Scatter, unit: str) -> LineScatter:
    """Offset and slope with what is not known of them: each that is given has its standard uncertainty."""
    needed = "its standard uncertainty (k = 1), a number"
    offset, slope = reader.number("offset", 0.0), reader.number("slope", 1.0)
    if slope == 0.0:
        raise reader.refuse("slope", "is 0, which leaves nothing of the relation")
    u_offset = reader.number("u_offset", None if "offset" in reader.table else 0.0, 0.0, needed)
    u_slope = reader.number("u_slope", None if "slope" in reader.table else 0.0, 0.0, needed)
    correlation = reader.number("correlation", 0.0)
    if not abs(correlation) <= 1.0:
        raise reader.refuse("correlation", f"is {correlation:g}; give that of offset and slope, -1 to 1")
    words = f"{base.source}; offset ± {u_offset:g}{unit}"
    if u_slope > 0.0:
        words += f", slope ± {u_slope:g}, correlation {correlation:g}"
    return LineScatter(words, base.steps, base.relative, base, offset, slope, u_offset, u_slope, correlation)


def _adjusted(function: Callable[..., Array], offset: float, slope: float) -> Callable[..., Array]:
    return lambda *inputs: np.asarray(offset + slope * function(*inputs))


def _inverse(inverse: Callable[..., Array], offset: float, slope: float) -> Callable[..., Array]:
    return lambda output, *others: np.asarray(inverse((output - offset) / slope, *others))
