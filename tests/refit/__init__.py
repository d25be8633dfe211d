"""The fit of the melt to open measurements: what made `runpredict/data/melt_coefficients.npz`."""
