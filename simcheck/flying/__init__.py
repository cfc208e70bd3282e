"""Case and Plan to Flight: every arc as real engines fly it."""
