"""Which counts does a specimen give? Pattern and derivatives from parameters.

`roles` and `parameters` say what a parameter is (owner, kind) and translate `lmfit.Parameters` to a vector; `geometry`,
`absorption` and `spacings` what specimen and strain do; `phase_lines` where the lines of a phase stand, how strong and
wide they are, with derivatives; `pattern_model` puts the whole pattern together; `microabsorption` corrects amounts.
"""
