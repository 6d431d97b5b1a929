"""One bedroom's results as plain files that say what they were made from."""
