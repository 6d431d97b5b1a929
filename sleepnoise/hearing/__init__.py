"""What an ear makes of a sound: thresholds, audibility, loudness, intelligibility."""
