"""Short tests, from their recordings to results: recorders, calibrations, doors, two microphones."""
