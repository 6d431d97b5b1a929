"""Which events are the same sound again, and whose sound it is: groups, labels, diaries."""
