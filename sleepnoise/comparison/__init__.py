"""Several nights side by side: what they have in common, how they differ, and how sure that is."""
