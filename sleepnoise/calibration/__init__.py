"""How a calibration is found, checked and kept: tones, reference meters, microphone responses."""
