"""Who does the work? Fit a sample, a pool of processes, resume."""
