"""What a sound is like: tones, impulses, low frequencies, the cycling of a hum."""
