"""What covers sound: steady masking spectra."""
