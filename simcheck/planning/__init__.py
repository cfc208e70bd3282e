"""From a case to the burns that bring its craft to the slot."""
