"""Random jobs that are sound by construction, and faults put into them on purpose."""
