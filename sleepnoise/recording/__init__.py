"""From files to calibrated pascals: audio files, their start times and their calibration."""
