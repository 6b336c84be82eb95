"""What will the A15 do? What each published relation says, strain, pinning, currents of layers.

Estimates of a study are draws of one model (`xrdorder.estimates`). Here `by_relation` lists beside them what each
published relation says alone; `strain` gives Tc and Bc2 at a strain, `layers` spreads them over a layer that is not
uniform, `pinning` and `currents` go on to the current of a layer against that of another. How relations are asked
stands in `mixture`.
"""
