"""The planner: where to drill and in which order to saw."""
