"""What published values say to a night, how surely, and the assessment that joins it all."""
