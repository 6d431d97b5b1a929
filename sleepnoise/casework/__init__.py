"""One bedroom's case over weeks: a folder that keeps nights, tests, plans and how they came about."""
