"""Larch Court, flat 3: an invented night, synthesised from a seed, with its truth beside it."""
