"""Several craft, several slots: who goes where, planned, flown and kept apart."""
