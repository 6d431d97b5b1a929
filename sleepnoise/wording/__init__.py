"""Results in words and rounded numbers, the same on every screen and page."""
