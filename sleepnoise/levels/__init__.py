"""From pascals to levels: one engine, its history and the statistics of any stretch of it."""
