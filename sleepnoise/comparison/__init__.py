"""Several nights set against each other: means, spread, before and after."""
