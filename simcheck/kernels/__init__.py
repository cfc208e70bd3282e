"""Pure numerics on float64 arrays, SI and radians."""
