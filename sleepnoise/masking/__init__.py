"""What covers sound: the audibility model and steady masking spectra."""
