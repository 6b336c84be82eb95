"""How a number was computed: the record that the function which computed it leaves beside the value.

A formula is arithmetic in the names of quantities, parameters and told numbers; `xrdorder.material.formulas` evaluates
it again. What a name in a formula stands for follows from the formula itself, so that it is written once.

>>> formula_names("wavelength_nm / (pi / 2 * radians(lorentz_sec))")
('wavelength_nm', 'lorentz_sec')
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field
from typing import NamedTuple, Required, TypedDict, Unpack

CONSTANTS = ("pi",)
"""Names that every formula may hold."""

_CONSTANTS = {"NaN": math.nan, "Infinity": math.inf, "-Infinity": -math.inf}
_NAME = re.compile(r"(?<![\w.])[A-Za-z_]\w*(?![\w(])")


class Input(NamedTuple):
    """What stands behind a name in a formula: a quantity or a parameter of the fit, and its value."""

    symbol: str
    quantity: str
    value: float


@dataclass(frozen=True)
class Record:
    """How a quantity was computed.

    Attributes
    ----------
    quantity, symbol : str
        Its name, and how formulas name it.
    value : float
        NaN for one that cannot be given.
    formula : str
        Arithmetic in the symbols of `inputs`, the names of `numbers` and `CONSTANTS`. Empty where nothing was computed:
        `remark` says why.
    inputs : tuple of Input
        Quantities and parameters it was computed from, with the values they had.
    numbers : mapping of str to float
        What else was used: told of the specimen, or chosen.
    source : str
        Where the formula and its constants come from.
    remark : str
        What a reader must know of it, in words.
    """

    quantity: str
    symbol: str
    value: float
    formula: str = ""
    inputs: tuple[Input, ...] = ()
    numbers: Mapping[str, float] = field(default_factory=dict)
    source: str = ""
    remark: str = ""

    def to_json(self) -> str:
        """Give it as text for storage; numbers in full."""
        return json.dumps(asdict(self), ensure_ascii=False)

    @classmethod
    def from_json(cls, text: str) -> Record:
        """Read what `to_json` wrote."""
        content = json.loads(text, parse_constant=_CONSTANTS.__getitem__)
        return cls(**{**content, "inputs": tuple(Input(*variable) for variable in content["inputs"])})


def symbol_of(quantity: str) -> str:
    """How a formula names a quantity: by its own name, as far as that can stand in one.

    >>> symbol_of("weight_fraction_my-phase")
    'weight_fraction_my_phase'
    """
    return re.sub(r"\W", "_", quantity)


def as_fitted(quantity: str) -> str:
    """Name of what the fit gave, where a later step corrects a quantity and keeps its name."""
    return f"{quantity}_fitted"


def formula_names(formula: str) -> tuple[str, ...]:
    """Names in a formula that stand for numbers: neither functions nor constants; each once, as they come."""
    return tuple(dict.fromkeys(name for name in _NAME.findall(formula) if name not in CONSTANTS))


class How(TypedDict, total=False):
    """How a quantity is computed: parts of its `Record`, of which `symbol` may be left to the name of the quantity."""

    formula: Required[str]
    source: Required[str]
    numbers: Mapping[str, float]
    symbol: str
    remark: str


def record_of(quantity: str, value: float, known: Mapping[str, tuple[str, float]], **how: Unpack[How]) -> Record:
    """Make a record; inputs and numbers are those that the formula names.

    Parameters
    ----------
    quantity : str
    value : float
    known : mapping of symbol to (quantity, value)
        What a formula may name beside its own numbers.
    **how
        As in `Record`.

    Raises
    ------
    KeyError
        The formula names what is neither known nor a number.
    """
    numbers = how.get("numbers", {})
    names = formula_names(how["formula"])
    return Record(
        quantity,
        how.get("symbol") or symbol_of(quantity),
        float(value),
        how["formula"],
        tuple(Input(name, *known[name]) for name in names if name not in numbers),
        {name: float(numbers[name]) for name in names if name in numbers},
        how["source"],
        how.get("remark", ""),
    )


def by_quantity(texts: Iterable[str]) -> dict[str, Record]:
    """Read stored records, by the names of their quantities."""
    return {record.quantity: record for record in map(Record.from_json, texts)}
