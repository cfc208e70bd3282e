"""A plan flown against imperfect engines."""
