"""Arithmetic from a file, evaluated without running anything: a walk over the syntax tree of an expression.

Numbers, names of inputs, + - * / **, parentheses and a handful of functions; nothing else is understood.

>>> f = compile_expression("6 + 12 * (beta - 0.18) / 0.07", ("beta",))
>>> float(f(np.array(0.25)))
18.0
"""

import ast
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

Functions = Mapping[str, tuple[Callable[..., Any], int]]

FUNCTIONS: Functions = {
    "sqrt": (np.sqrt, 1), "exp": (np.exp, 1), "log": (np.log, 1), "log10": (np.log10, 1), "abs": (np.abs, 1),
    "sin": (np.sin, 1), "cos": (np.cos, 1), "tan": (np.tan, 1), "tanh": (np.tanh, 1),
    "min": (np.minimum, 2), "max": (np.maximum, 2),
}  # fmt: skip
"""Functions that may be named, and how many arguments each takes; log is the natural logarithm."""

_BINARY: dict[type[ast.operator], Callable[[Array, Array], Array]] = {
    ast.Add: np.add, ast.Sub: np.subtract, ast.Mult: np.multiply, ast.Div: np.divide, ast.Pow: np.power,
}  # fmt: skip
_LONGEST = 500  # characters; what is longer is no formula
_DEEPEST = 40
_LARGEST = 1e100


def compile_expression(
    text: str, names: tuple[str, ...], functions: Functions = FUNCTIONS
) -> Callable[..., Array]:
    """Turn an expression into a function of these inputs, in this order; vectorised where its functions are.

    Parameters
    ----------
    text : str
    names : tuple of str
        Inputs, at least one.
    functions : mapping of name to (function, number of arguments), optional
        Those that may be named.

    Raises
    ------
    ValueError
        It holds something else than arithmetic on these names; the message says what and where.
    """
    if len(text) > _LONGEST:
        raise ValueError(f"is {len(text)} characters long; {_LONGEST} are enough for a formula")
    try:
        tree = ast.parse(text.strip(), mode="eval").body
    except (SyntaxError, ValueError, RecursionError, MemoryError) as error:
        place = getattr(error, "offset", None)
        where = f" near character {place}" if place else ""
        raise ValueError(f"is no arithmetic expression{where}") from None
    _check(tree, names, functions, 0)

    def function(*inputs: Array) -> Array:
        values = dict(zip(names, inputs, strict=True))
        first = np.asarray(inputs[0], dtype=np.float64)
        with np.errstate(all="ignore"):
            return np.asarray(_value(tree, values, functions) + np.zeros_like(first))

    return function


def _refuse(node: ast.AST, what: str, functions: Functions) -> ValueError:
    return ValueError(f"{what} at character {getattr(node, 'col_offset', 0) + 1}; use numbers, the inputs, + - * / **, "
                      f"parentheses and {', '.join(functions)}")


def _check(node: ast.expr, names: tuple[str, ...], functions: Functions, depth: int) -> None:
    """Refuse everything that is not arithmetic."""
    if depth > _DEEPEST:
        raise _refuse(node, "parentheses too deep", functions)
    match node:
        case ast.Constant(value=int() | float() as value) if type(value) is not bool and abs(value) < _LARGEST:
            return
        case ast.Name(id=name):
            if name not in names:
                raise _refuse(node, f"unknown name '{name}' (inputs: {', '.join(names)})", functions)
        case ast.UnaryOp(op=ast.USub() | ast.UAdd(), operand=operand):
            _check(operand, names, functions, depth + 1)
        case ast.BinOp(left=left, op=op, right=right):
            if type(op) not in _BINARY:
                raise _refuse(node, "unknown operator", functions)
            _check(left, names, functions, depth + 1)
            _check(right, names, functions, depth + 1)
        case ast.Call(func=ast.Name(id=name), args=arguments, keywords=[]):
            if name not in functions or len(arguments) != functions[name][1]:
                raise _refuse(node, f"unknown function '{name}', or a wrong number of arguments", functions)
            for argument in arguments:
                _check(argument, names, functions, depth + 1)
        case _:
            raise _refuse(node, f"{type(node).__name__.lower()} is not arithmetic", functions)


def _value(node: ast.expr, values: Mapping[str, Array], functions: Functions) -> Array:
    """Evaluate what `_check` has let through."""
    match node:
        case ast.Constant(value=int() | float() as value):
            return np.asarray(float(value))
        case ast.Name(id=name):
            return values[name]
        case ast.UnaryOp(op=op, operand=operand):
            value_ = _value(operand, values, functions)
            return np.negative(value_) if isinstance(op, ast.USub) else value_
        case ast.BinOp(left=left, op=op, right=right):
            return _BINARY[type(op)](_value(left, values, functions), _value(right, values, functions))
        case ast.Call(func=ast.Name(id=name), args=arguments):
            numbers = (_value(argument, values, functions) for argument in arguments)
            return np.asarray(functions[name][0](*numbers))
    raise AssertionError("checked before")
