"""A state as arrays, and the scheduling problem that it poses at a moment.

`board.advance` patches the arrays for the items whose records are other objects than before;
changed items or arcs are spliced into the frame (`reframe`).
"""
