"""The model that rules, schedules and drawings look at: devices, one graph, what it computes to."""
