"""Motion: one seam, a fast propagator and a reference one."""
