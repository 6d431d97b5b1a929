"""What the night was like: its window, intervals, background, intrusive events and faults."""
