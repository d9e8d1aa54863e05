"""Read tables that follow from the log: caught up after commits, rebuilt to the same rows.

The trail of each episode's projected delivery goes by the minutes in which something was recorded:
first the old state at the new minute, then the new one, divided by halving only where a date moved
over the whole minute. Strikes that follow each other are one step. No plan is made where it cannot
differ: after hand-outs, notes and their like (`MOVES_NO_DATE`), and at a later minute before which
nothing was to start or end (`stands_until`). Rows are stored of minutes that are over, so that
building on and building anew group alike; a reader walks the rest itself, at most 500 events and
five seconds a request, and marks it provisional. Rows and their checkpoint are committed together.
Of all workers the one with the advisory lock builds, half a second at a time, and rests between
plans while requests come. Rows built by other rules (`RULES`) are cleared and built anew.

Pages of a trail go on after the number of the last row, not at one position: stored rows never
change, provisional ones may be grouped otherwise.
"""
