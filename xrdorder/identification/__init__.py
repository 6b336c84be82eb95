"""What may lines be that no phase of the fit explains?

`peak_search` finds them in the residual, `kbeta_tungsten` names those that the tube and its filter make of lines of
known phases, `phase_search` those of phases in the catalogue. The package knows the residual, not the fit behind it.
"""
