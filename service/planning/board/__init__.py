"""A state as arrays, and the scheduling problem that it poses at a moment."""
