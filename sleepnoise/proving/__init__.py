"""What a plan promises: heard, measured anew, and held against what came of it."""
