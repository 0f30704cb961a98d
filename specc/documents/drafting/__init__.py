"""The steps that turn a diagram into a drawing: rank, order, place, route, enclose, put on a sheet."""
