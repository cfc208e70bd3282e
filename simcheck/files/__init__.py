"""The edge to files: case files in, JSON in and out, units."""
