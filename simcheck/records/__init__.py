"""What flows between the stages: frozen dataclasses in SI units."""
