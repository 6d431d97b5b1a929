"""What a measurement on site says: insulation, reverberation, ratings, the door test."""
