"""Monte Carlo: many flights of one plan, each reproducible alone, and what they say together."""
