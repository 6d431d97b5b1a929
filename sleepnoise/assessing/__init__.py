"""From a night's files, or an instrument's log, to its record: one call does the main job."""
