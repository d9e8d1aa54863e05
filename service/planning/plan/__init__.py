"""The plan of a board at a moment, and what is read off it."""
