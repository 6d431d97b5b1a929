"""Many nights at once: gathered, worked through by many hands, kept as tables, ranked and compared."""
