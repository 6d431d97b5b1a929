"""From files to calibrated pascals: audio files, nights in several files, their times and faults."""
