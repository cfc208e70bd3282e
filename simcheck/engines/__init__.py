"""Propagators behind one seam, a fast one and one for reference."""
