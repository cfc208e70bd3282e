"""What flows between the stages: frozen records of SI floats."""
