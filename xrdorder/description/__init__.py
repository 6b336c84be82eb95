"""What did the user tell? Study, lots, samples, treatments, calibrations."""
