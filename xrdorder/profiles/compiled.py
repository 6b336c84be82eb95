"""The sums of `xrdorder.profiles.summation`, compiled: the same numbers, several times as fast.

Needs numba (the extra ``fast``); `ProfileSum` comes here where it is installed. What is summed, and why it may be split
so, is said there, in `xrdorder.profiles.axial` and in `xrdorder.profiles.voigt`. Here each line is written once into
four rows (profile, and its derivatives by displacement, squared Gaussian and Lorentzian width) wherever it is not
smooth, and once over the coarse grid; then each row is added to those parameters alone that it feeds. Loops over points
have no branches and no calls left, so that they become vector instructions.

The Faddeeva function is the rational series of 32 terms of J. A. C. Weideman, SIAM J. Numer. Anal. 31 (1994) 1497, its
polynomial of real coefficients summed by the recurrence of D. E. Knuth (both from memory); tests hold it to
`scipy.special.wofz`.
"""

import math
from typing import Any

import numba
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_TERMS = 32
_SCALE = math.sqrt(_TERMS / math.sqrt(2.0))
_PER_ROOT_PI = 1.0 / math.sqrt(math.pi)
_VARIANCE_PER_FWHM2 = 1.0 / (8.0 * math.log(2.0))
_SMALL = 1e-6  # as in `axial`
_CHUNK = 256  # points of the grid that are worked on together: with all parameters they stay in the fastest memory


def _series() -> tuple[float, ...]:
    """Coefficients of the rational series, highest power first."""
    angle = np.arange(-2 * _TERMS + 1, 2 * _TERMS) * np.pi / (2 * _TERMS)
    t = _SCALE * np.tan(0.5 * angle)
    weight = np.concatenate([[0.0], np.exp(-(t**2)) * (_SCALE**2 + t**2)])
    return tuple((np.real(np.fft.fft(np.fft.fftshift(weight))) / (4 * _TERMS))[_TERMS:0:-1].tolist())


_C = _series()


def _jit(function: Any) -> Any:
    """Compile, and keep what was compiled where there is a place for it."""
    options: dict[str, Any] = {"error_model": "numpy", "fastmath": {"contract", "arcp"}, "nogil": True}
    try:
        return numba.njit(cache=True, **options)(function)
    except RuntimeError:  # neither the package nor a folder for caches can be written to
        return numba.njit(**options)(function)


@_jit
def _four(b1, b2, s, q, c0, c1, c2, c3):  # type: ignore[no-untyped-def]
    """Four more terms of a polynomial of real coefficients at z: s = 2 Re z, q = |z|^2."""
    b2 = c0 + s * b1 - q * b2
    b1 = c1 + s * b2 - q * b1
    b2 = c2 + s * b1 - q * b2
    return c3 + s * b2 - q * b1, b2


@_jit
def write_voigt(x, centre, gauss_squared, lorentz, rows):  # type: ignore[no-untyped-def]
    """Voigt function and derivatives of one line into four rows (see `voigt.voigt_with_derivatives`)."""
    per_width = 1.0 / math.sqrt(2.0 * _VARIANCE_PER_FWHM2 * gauss_squared)
    y = 0.5 * lorentz * per_width
    above, below = _SCALE + y, _SCALE - y
    height = per_width * _PER_ROOT_PI
    by_z = height * per_width
    by_gauss, by_lorentz = 0.5 * _VARIANCE_PER_FWHM2 * by_z * per_width, -0.5 * by_z
    n = len(x)
    value, d_x, d_gauss, d_lorentz = rows[0, :n], rows[1, :n], rows[2, :n], rows[3, :n]
    for p in range(n):
        z = (x[p] - centre) * per_width
        inverse = 1.0 / (above * above + z * z)
        zr, zi = (below * above - z * z) * inverse, z * (below + above) * inverse
        s, q = zr + zr, zr * zr + zi * zi
        b1, b2 = _four(0.0, 0.0, s, q, _C[0], _C[1], _C[2], _C[3])
        b1, b2 = _four(b1, b2, s, q, _C[4], _C[5], _C[6], _C[7])
        b1, b2 = _four(b1, b2, s, q, _C[8], _C[9], _C[10], _C[11])
        b1, b2 = _four(b1, b2, s, q, _C[12], _C[13], _C[14], _C[15])
        b1, b2 = _four(b1, b2, s, q, _C[16], _C[17], _C[18], _C[19])
        b1, b2 = _four(b1, b2, s, q, _C[20], _C[21], _C[22], _C[23])
        b1, b2 = _four(b1, b2, s, q, _C[24], _C[25], _C[26], _C[27])
        b1, b2 = _four(b1, b2, s, q, _C[28], _C[29], _C[30], _C[31])
        re, im = b1 - zr * b2, zi * b2
        ir, ii = above * inverse, z * inverse
        sr, si = ir * ir - ii * ii, 2.0 * ir * ii
        wr = 2.0 * (re * sr - im * si) + ir * _PER_ROOT_PI
        wi = 2.0 * (re * si + im * sr) + ii * _PER_ROOT_PI
        fr, fi = 2.0 * (y * wi - z * wr), 2.0 * (_PER_ROOT_PI - z * wi - y * wr)
        value[p] = wr * height
        d_x[p] = fr * by_z
        d_gauss[p] = -2.0 * (wr + z * fr - y * fi) * by_gauss
        d_lorentz[p] = fi * by_lorentz


@_jit
def _add_tail(x, centre, gauss_squared, lorentz, square, sign, rows, start):  # type: ignore[no-untyped-def]
    """Smooth tail of one line and derivatives, times a sign, onto four rows (see `voigt.voigt_tail`)."""
    gamma, variance = 0.5 * lorentz, gauss_squared * _VARIANCE_PER_FWHM2
    g2 = gamma * gamma
    m1 = 3.0 * variance - g2
    c2, c3 = square + m1, square * (square + 2.0 * m1) + 15.0 * variance**2 - 10.0 * variance * g2 + g2 * g2
    strength = sign * gamma / math.pi
    v1 = 6.0 * square + 30.0 * variance - 10.0 * g2
    w1 = 2.0 * g2 - 2.0 * square - 10.0 * variance
    by_gauss, by_lorentz = strength * _VARIANCE_PER_FWHM2, 0.5 * sign / math.pi
    end = start + len(x)
    value, d_x, d_gauss, d_lorentz = rows[0, start:end], rows[1, start:end], rows[2, start:end], rows[3, start:end]
    for p in range(len(x)):
        away = x[p] - centre
        u = 1.0 / (away * away + square)
        u2 = u * u
        series = u + c2 * u2 + c3 * u2 * u
        slope = 1.0 + 2.0 * c2 * u + 3.0 * c3 * u2
        value[p] += strength * series
        d_x[p] -= 2.0 * strength * away * slope * u2
        d_gauss[p] += by_gauss * (3.0 + v1 * u) * u2
        d_lorentz[p] += by_lorentz * series + strength * gamma * (w1 * u - 1.0) * u2


@_jit
def _add(row, factor, target):  # type: ignore[no-untyped-def]
    for p in range(len(target)):
        target[p] += factor * row[p]


@_jit
def _add_line(rows, n, start, total, jacobian, place, area, by_area, by_position, by_gauss, by_lorentz):  # type: ignore[no-untyped-def]
    """Rows of one line onto the sum and onto every parameter that feeds it."""
    end = start + n
    _add(rows[0], area, total[start:end])
    for k in range(len(by_area)):
        target = jacobian[place[k], start:end]
        if by_area[k] != 0.0:
            _add(rows[0], by_area[k], target)
        if by_position[k] != 0.0:
            _add(rows[1], -area * by_position[k], target)
        if by_gauss[k] != 0.0:
            _add(rows[2], area * by_gauss[k], target)
        if by_lorentz[k] != 0.0:
            _add(rows[3], area * by_lorentz[k], target)


@_jit
def _nodes_of(count, low, high, sign, node, quadrature, h, p, h_by, p_by):  # type: ignore[no-untyped-def]
    """Heights of one line with weights of the trapezoid, and derivatives by (source, detector); return their number."""
    width, n = high - low, count
    for r in range(2):
        by_low = sign if r == 0 else -sign
        for k in range(count):
            h_by[k, r] = by_low + node[k] * (1.0 - by_low)
            p_by[k, r] = quadrature[k] * (1.0 - node[k]) * (1.0 - by_low)
    for k in range(count):
        h[k], p[k] = low + width * node[k], width * quadrature[k] * (1.0 - node[k])
    if low > _SMALL:
        n = 2 * count
        for k in range(count):
            h[count + k], p[count + k] = low * node[k], low * quadrature[k]
            for r in range(2):
                by_low = sign if r == 0 else -sign
                h_by[count + k, r], p_by[count + k, r] = node[k] * by_low, quadrature[k] * by_low
    return n


@_jit
def lay_out_nodes(two_theta, counts, alone, starts, source, detector, tables, components, tails):  # type: ignore[no-untyped-def]
    """Fill components and moments of the lines: `axial.axial_nodes` and `summation._moments`, line by line.

    Parameters
    ----------
    two_theta, counts, alone, starts
        Of each line: position, number of nodes in each piece, whether one at the centroid stands for them, and its
        first component.
    source, detector
        Ratios.
    tables : tuple of ndarray
        Gauss-Legendre nodes and weights on [0, 1], in the row of their number.
    components : ndarray, shape (m, 10)
        Position, weight, what is added to the squared width, derivative of the position, and of weight, position and
        squared width by both ratios.
    tails : ndarray, shape (n, 6)
        Centroid, squared width, and derivatives of both by both ratios.
    """
    low, high, sign = abs(source - detector), source + detector, np.sign(source - detector)
    most = 2 * len(tables[0])
    h, p, h_by, p_by = np.empty(most), np.empty(most), np.empty((most, 2)), np.empty((most, 2))
    w, w_by, x, x_by, d_x = np.empty(most), np.empty((most, 2)), np.empty(most), np.empty((most, 2)), np.empty(most)
    total_by = np.empty(2)
    for i in range(len(two_theta)):
        c = counts[i]
        n = _nodes_of(c, low, high, sign, tables[0][c], tables[1][c], h, p, h_by, p_by)
        angle = math.radians(two_theta[i])
        total, total_by[:] = 0.0, 0.0
        for k in range(n):
            stretch = math.sqrt(1.0 + h[k] * h[k])
            cosine = min(max(math.cos(angle) * stretch, -1.0 + 1e-12), 1.0 - 1e-12)
            apparent = math.acos(cosine)
            sine = math.sin(apparent)
            apparent_by_h = -math.cos(angle) * h[k] / (stretch * sine)
            density = 1.0 / (stretch * stretch * sine)
            slope = -2.0 * h[k] / (stretch * stretch) - cosine / sine * apparent_by_h
            x[k], w[k], d_x[k] = math.degrees(apparent), p[k] * density, math.sin(angle) * stretch / sine
            total += w[k]
            for r in range(2):
                x_by[k, r] = math.degrees(apparent_by_h) * h_by[k, r]
                w_by[k, r] = (p_by[k, r] + p[k] * slope * h_by[k, r]) * density
                total_by[r] += w_by[k, r]
        tail = tails[i]
        tail[:] = 0.0
        mean_d_x = 0.0
        for k in range(n):
            for r in range(2):
                w_by[k, r] = w_by[k, r] / total - w[k] / (total * total) * total_by[r]
                tail[2 + r] += w_by[k, r] * x[k] + w[k] / total * x_by[k, r]
            w[k] /= total
            tail[0] += w[k] * x[k]
            mean_d_x += w[k] * d_x[k]
        for k in range(n):
            away = x[k] - tail[0]
            tail[1] += w[k] * away * away / _VARIANCE_PER_FWHM2
            for r in range(2):
                by = w_by[k, r] * away * away + 2.0 * w[k] * away * x_by[k, r]
                tail[4 + r] += by / _VARIANCE_PER_FWHM2
        first = starts[i]
        if alone[i]:
            out = components[first]
            out[0], out[1], out[2], out[3] = tail[0], 1.0, tail[1], mean_d_x
            out[4:6], out[6:] = 0.0, tail[2:]
            continue
        for k in range(n):
            out = components[first + k]
            out[0], out[1], out[2], out[3] = x[k], w[k], 0.0, d_x[k]
            for r in range(2):
                out[4 + r], out[6 + r], out[8 + r] = w_by[k, r], x_by[k, r], 0.0


@_jit
def sum_lines(points, grid, lines, derivatives, layout, axial, place, total, jacobian, on_grid):  # type: ignore[no-untyped-def]
    """Add lines and their derivatives to a sum over the points, and their smooth tails to one over the grid.

    Parameters
    ----------
    points, grid : ndarray
        Measuring points and coarse grid, degrees.
    lines, derivatives : tuple of ndarray
        `summation.Lines`, and the four arrays of `summation.LineDerivatives`.
    layout : tuple of ndarray
        `summation.Layout`.
    axial : tuple of int
        Parameters that are the two axial ratios; negative where they are not asked for.
    place : ndarray
        Parameter of each column of the derivatives.
    total, jacobian : ndarray, shapes (points,) and (parameters, points)
        To be added to.
    on_grid : ndarray, shape (1 + parameters, grid)
        To be added to: the sum, then the parameters.
    """
    position, area, gauss_squared, lorentz = lines
    by_position, by_area, by_gauss, by_lorentz = derivatives
    starts, components, tails, heart, window, core = layout
    longest = max(len(points), _CHUNK)
    rows, node_rows = np.zeros((4, longest)), np.zeros((4, longest))
    for i in range(len(position)):
        lo, hi = np.searchsorted(points, position[i] - window[i]), np.searchsorted(points, position[i] + window[i])
        first, last = np.searchsorted(points, position[i] - heart[i]), np.searchsorted(points, position[i] + heart[i])
        centroid, wide, t_by = tails[i, 0], gauss_squared[i] + tails[i, 1], tails[i, 2:]
        rows[:, : hi - lo] = 0.0
        _add_tail(points[lo:hi], centroid, wide, lorentz[i], core[i] ** 2, -1.0, rows, 0)
        _add_tail(points[lo:first], centroid, wide, lorentz[i], 0.0, 1.0, rows, 0)
        _add_tail(points[last:hi], centroid, wide, lorentz[i], 0.0, 1.0, rows, last - lo)
        if axial[0] >= 0:
            for r in range(2):
                target = jacobian[axial[r], lo:hi]
                _add(rows[1], -area[i] * t_by[r], target)
                _add(rows[2], area[i] * t_by[2 + r], target)
        heart_rows = rows[:, first - lo : last - lo]
        for c in range(starts[i], starts[i + 1]):
            at, weight, added, d_place = components[c, :4]
            write_voigt(points[first:last], at, gauss_squared[i] + added, lorentz[i], node_rows)
            _add(node_rows[0], weight, heart_rows[0])
            _add(node_rows[1], weight * d_place, heart_rows[1])
            _add(node_rows[2], weight, heart_rows[2])
            _add(node_rows[3], weight, heart_rows[3])
            if axial[0] >= 0:
                for r in range(2):
                    target = jacobian[axial[r], first:last]
                    _add(node_rows[0], area[i] * components[c, 4 + r], target)
                    _add(node_rows[1], -area[i] * weight * components[c, 6 + r], target)
                    _add(node_rows[2], area[i] * weight * components[c, 8 + r], target)
        _add_line(
            rows, hi - lo, lo, total, jacobian, place, area[i], by_area[i], by_position[i], by_gauss[i], by_lorentz[i]
        )
    for start in range(0, len(grid), _CHUNK):
        x = grid[start : start + _CHUNK]
        for i in range(len(position)):
            rows[:, : len(x)] = 0.0
            t_by = tails[i, 2:]
            _add_tail(x, tails[i, 0], gauss_squared[i] + tails[i, 1], lorentz[i], core[i] ** 2, 1.0, rows, 0)
            if axial[0] >= 0:
                for r in range(2):
                    target = on_grid[1 + axial[r], start : start + _CHUNK]
                    _add(rows[1], -area[i] * t_by[r], target)
                    _add(rows[2], area[i] * t_by[2 + r], target)
            _add_line(
                rows, len(x), start, on_grid[0], on_grid[1:], place, area[i],
                by_area[i], by_position[i], by_gauss[i], by_lorentz[i],
            )


@_jit
def interpolate(first, weights, on_grid, total, jacobian):  # type: ignore[no-untyped-def]
    """Add what stands on the grid to the points: four weights each from a first grid point on."""
    for p in range(len(first)):
        a, b, c, d = weights[p]
        f = first[p]
        total[p] += a * on_grid[0, f] + b * on_grid[0, f + 1] + c * on_grid[0, f + 2] + d * on_grid[0, f + 3]
    for k in range(len(jacobian)):
        row, target = on_grid[1 + k], jacobian[k]
        for p in range(len(first)):
            f = first[p]
            target[p] += (
                weights[p, 0] * row[f] + weights[p, 1] * row[f + 1] + weights[p, 2] * row[f + 2]
                + weights[p, 3] * row[f + 3]
            )  # fmt: skip
