"""Kernels against published values, other libraries and their own invariants."""
