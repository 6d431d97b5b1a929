"""The results as a page with its figures, for people to keep and hand on."""
