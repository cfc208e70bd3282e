"""A finished ring over months and years."""
