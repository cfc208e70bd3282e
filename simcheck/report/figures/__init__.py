"""Pictures of results: each drawn on a matplotlib axis that is given, gathered in galleries."""
