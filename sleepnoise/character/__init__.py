"""What a sound is like: its tones, its impulses, its low end, its cycling, and a room's noise rating."""
