"""Level logs of other instruments: their tables, read with a stated mapping of columns."""
