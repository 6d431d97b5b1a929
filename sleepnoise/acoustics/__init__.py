"""The vocabulary: decibels, bands, weightings, spectra, pressure blocks, symbols and sources."""
