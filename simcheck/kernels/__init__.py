"""Numerics on plain float64 arrays: SI, radians, no files and no units."""
