"""What a heat treatment does to a wire: conversion, temperature at which the layer formed, grain size, copper.

All of it follows from T(t) by Arrhenius integrals, over ramps, earlier plateaus, blocks, swings and logs alike:

* `Courses` holds treatments with their integrals, for many activation energies at once;
* `laws` has the equations, each from its parameters to a number a treatment;
* `fitted_conversion` fits that of conversion to a course over time;
* `ROUTES` has the published values of the parameters for each way to make wire, and how each is known.
"""

from xrdorder.kinetics.courses import REFERENCE_C, Courses
from xrdorder.kinetics.fitted import ConversionCurve, fitted_conversion
from xrdorder.kinetics.laws import climb, conversion, formation_k, inverse_rrr, log_grain_size
from xrdorder.kinetics.routes import ROUTES, Parameter, Route, route_of

__all__ = [
    "REFERENCE_C",
    "ROUTES",
    "ConversionCurve",
    "Courses",
    "Parameter",
    "Route",
    "climb",
    "conversion",
    "fitted_conversion",
    "formation_k",
    "inverse_rrr",
    "log_grain_size",
    "route_of",
]
