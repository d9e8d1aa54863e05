"""The compiled scheduling kernels: arrays in, arrays out.

Nothing is done per minute, only per event. A visit that waits is a bit in its department's tray
(`trays`), in dispatch order; ends within eleven days are in a wheel of minutes (`wheel`), later
ones in a heap (`heaps`); window and crew are looked up when they change (`desks`). Compiled code is
kept in a folder named by a hash of all its sources, beside them or in `NUMBA_CACHE_DIR`.
"""
