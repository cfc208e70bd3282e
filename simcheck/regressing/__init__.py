"""Regression: a case tried anew, and set against its baseline."""
