"""Residual niobium and tantalum: one phase unless the pattern resolves two.

Their lattices differ by 0.07 %. With sharp lines at high angle that can be seen; with the broad ones of cold-worked
filaments and barriers it cannot, and two phases fitted to one set of lines would share it out at random.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from xrdorder.crystals import Phase, phase
from xrdorder.exceptions import Flag
from xrdorder.fitting.procedure import Procedure
from xrdorder.forward_model.initial_parameters import add_phase_parameters
from xrdorder.forward_model.parameter_map import set_values
from xrdorder.forward_model.phase_lines import PhaseLines

NIOBIUM_TANTALUM = "nb-ta"
SEPARATE = ("nb", "ta")

_TRIAL_ROUNDS = 40
_CLEAR = 5.0  # standard uncertainties of amounts and of the difference of lattices; own choice
_BETTER_BY = 25.0  # in chi squared, for the five parameters a second phase brings; own choice


def merge_niobium_tantalum(phases: Sequence[Phase]) -> list[Phase]:
    """Put niobium and tantalum into one phase where both are asked for, half of each; leave other phases alone."""
    names = [p.name for p in phases]
    if not all(name in names for name in SEPARATE):
        return list(phases)
    niobium, tantalum = (phases[names.index(name)] for name in SEPARATE)
    site = replace(niobium.sites[0], occupancy={"Nb": 0.5, "Ta": 0.5})
    both = replace(
        niobium,
        name=NIOBIUM_TANTALUM,
        title="niobium and tantalum together",
        lengths_low_nm=tuple(map(min, niobium.lengths_low_nm, tantalum.lengths_low_nm)),
        lengths_high_nm=tuple(map(max, niobium.lengths_high_nm, tantalum.lengths_high_nm)),
        sites=(site,),
        source=f"{niobium.source}; {tantalum.source}",
    )
    return [both if p is niobium else p for p in phases if p is not tantalum]


def separate_niobium_tantalum(job: Procedure) -> bool:
    """Fit niobium and tantalum as two phases, and keep them if both stand out with lattices clearly apart."""
    mixture = next((lines for lines in job.present() if lines.phase.name == NIOBIUM_TANTALUM), None)
    if mixture is None:
        return False
    fit = job.fit
    before, lines_before, chi_before = fit.values(), list(job.lines), fit.chi_squared()
    two = [PhaseLines(phase(name), job.optics, job.range, march_axis=mixture.march_axis) for name in SEPARATE]
    job.model.remove(mixture)
    job.lines.remove(mixture)
    for lines in two:
        job.lines.append(lines)
        job.model.add(lines)
        add_phase_parameters(job.parameters, lines)
        widths = zip(lines.width_names, mixture.width_names, strict=True)
        set_values(job.parameters, {own: before[common] for own, common in widths})
        # the same area for half of the amount: scales are areas of the strongest line
        set_values(job.parameters, {lines.scale_name: 0.5 * before[mixture.scale_name]})
    fit.run(job.decidable(), most_iterations=_TRIAL_ROUNDS, tolerance=0.1, from_afar=True)
    if job.improved(chi_before, _BETTER_BY) and _apart(job, two):
        text = "niobium and tantalum are told apart by their lattices and given each for itself"
        job.flags.append(Flag("metals-apart", text))
        return True
    for lines in two:
        job.model.remove(lines)
        set_values(job.parameters, {lines.scale_name: 0.0})
    job.model.add(mixture)
    job.lines[:] = lines_before
    set_values(job.parameters, before)
    text = "niobium and tantalum cannot be told apart in this pattern: their amount is given as a sum"
    job.flags.append(Flag("metals-together", text))
    return False


def _apart(job: Procedure, two: Sequence[PhaseLines]) -> bool:
    """Tell whether both stand out, and their lattices differ."""
    solution, _ = job.fit.solution()
    names = [lines.length_names[0] for lines in two]
    if not all(name in solution.free for name in names):
        return False
    if not all(job.significance(lines, solution) > _CLEAR for lines in two):
        return False
    weight = np.array([-1.0, 1.0])
    u = float(np.sqrt(weight @ solution.block(names) @ weight))
    return float(weight @ [solution.value(name) for name in names]) > _CLEAR * u
