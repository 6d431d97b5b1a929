"""Two microphones and one night: the same sounds found in both, and what is lost on the way."""
