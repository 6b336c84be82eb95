"""The 27 data sets of nonlinear regression of the NIST Statistical Reference Datasets: data, models, certified values.

Source: NIST/ITL, Statistical Reference Datasets Project, nonlinear regression, https://www.itl.nist.gov/div898/strd/;
each file in `nist_strd` is NIST's own, with its certified values, which rest on two algorithms in 500-bit arithmetic.
The models are written as the files state them.
"""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

FOLDER = Path(__file__).parent / "nist_strd"
Array = np.ndarray
_STEP = 1e-30  # of the imaginary axis: a derivative without cancellation


def _rational(top: int) -> Callable[[Array, Array], Array]:
    """Polynomial of degree `top` over one whose constant term is one."""

    def model(b: Array, x: Array) -> Array:
        return np.polyval(b[top::-1], x) / np.polyval([*b[:top:-1], 1.0], x)

    return model


def _lanczos(b: Array, x: Array) -> Array:
    return b[0] * np.exp(-b[1] * x) + b[2] * np.exp(-b[3] * x) + b[4] * np.exp(-b[5] * x)


def _gauss(b: Array, x: Array) -> Array:
    humps = b[2] * np.exp(-(((x - b[3]) / b[4]) ** 2)) + b[5] * np.exp(-(((x - b[6]) / b[7]) ** 2))
    return b[0] * np.exp(-b[1] * x) + humps


def _chwirut(b: Array, x: Array) -> Array:
    return np.exp(-b[0] * x) / (b[1] + b[2] * x)


def _enso(b: Array, x: Array) -> Array:
    phase = [2.0 * np.pi * x / period for period in (12.0, b[3], b[6])]
    pairs = zip(((1, 2), (4, 5), (7, 8)), phase, strict=True)
    return b[0] + sum(b[c] * np.cos(angle) + b[s] * np.sin(angle) for (c, s), angle in pairs)


MODELS: dict[str, Callable[[Array, Array], Array]] = {
    "Bennett5": lambda b, x: b[0] * (b[1] + x) ** (-1.0 / b[2]),
    "BoxBOD": lambda b, x: b[0] * (1.0 - np.exp(-b[1] * x)),
    "Chwirut1": _chwirut,
    "Chwirut2": _chwirut,
    "DanWood": lambda b, x: b[0] * x ** b[1],
    "ENSO": _enso,
    "Eckerle4": lambda b, x: b[0] / b[1] * np.exp(-0.5 * ((x - b[2]) / b[1]) ** 2),
    "Gauss1": _gauss,
    "Gauss2": _gauss,
    "Gauss3": _gauss,
    "Hahn1": _rational(3),
    "Kirby2": _rational(2),
    "Lanczos1": _lanczos,
    "Lanczos2": _lanczos,
    "Lanczos3": _lanczos,
    "MGH09": lambda b, x: b[0] * (x**2 + x * b[1]) / (x**2 + x * b[2] + b[3]),
    "MGH10": lambda b, x: b[0] * np.exp(b[1] / (x + b[2])),
    "MGH17": lambda b, x: b[0] + b[1] * np.exp(-x * b[3]) + b[2] * np.exp(-x * b[4]),
    "Misra1a": lambda b, x: b[0] * (1.0 - np.exp(-b[1] * x)),
    "Misra1b": lambda b, x: b[0] * (1.0 - (1.0 + b[1] * x / 2.0) ** -2),
    "Misra1c": lambda b, x: b[0] * (1.0 - (1.0 + 2.0 * b[1] * x) ** -0.5),
    "Misra1d": lambda b, x: b[0] * b[1] * x / (1.0 + b[1] * x),
    "Nelson": lambda b, x: b[0] - b[1] * x[:, 0] * np.exp(-b[2] * x[:, 1]),  # of the logarithm of y
    "Rat42": lambda b, x: b[0] / (1.0 + np.exp(b[1] - b[2] * x)),
    "Rat43": lambda b, x: b[0] / (1.0 + np.exp(b[1] - b[2] * x)) ** (1.0 / b[3]),
    "Roszman1": lambda b, x: b[0] - b[1] * x - np.arctan(b[2] / (x - b[3])) / np.pi,
    "Thurber": _rational(3),
}


@dataclass(frozen=True)
class ReferenceSet:
    """One data set: start values (two of them), certified values and standard deviations, shape (n,) each.

    `scatter` is the certified residual standard deviation.
    """

    name: str
    x: Array
    y: Array
    starts: tuple[Array, Array]
    certified: Array
    u_certified: Array
    sum_of_squares: float
    scatter: float

    def residuals(self, b: Array) -> tuple[Array, Array]:
        """Residuals over the certified residual standard deviation, and their Jacobian (by a complex step)."""
        model = MODELS[self.name]
        with np.errstate(all="ignore"):
            values = model(b, self.x)
            columns = []
            for k in range(len(b)):
                shifted = b.astype(complex)
                shifted[k] += 1j * _STEP
                columns.append(model(shifted, self.x).imag / _STEP)
        return (values - self.y) / self.scatter, np.stack(columns, axis=1) / self.scatter


def reference_set(name: str) -> ReferenceSet:
    """Read one of them; the places in the file are those that its head states."""
    lines = (FOLDER / f"{name}.dat").read_text(encoding="ascii").splitlines()
    rows = [line.split("=", 1)[1].split() for line in lines[40:] if line.strip().startswith("b") and "=" in line]
    table = np.array(rows, dtype=float)
    said = {line.split(":")[0].strip(): line.split(":")[1] for line in lines[40:60] if ":" in line}
    data = np.array([line.split() for line in lines[60:] if line.strip()], dtype=float)
    y, x = data[:, 0], data[:, 1:]
    return ReferenceSet(
        name,
        x if x.shape[1] > 1 else x[:, 0],
        np.log(y) if name == "Nelson" else y,
        (table[:, 0], table[:, 1]),
        table[:, 2],
        table[:, 3],
        float(said["Residual Sum of Squares"]),
        float(said["Residual Standard Deviation"]),
    )
