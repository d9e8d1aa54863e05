"""How fast the house is, each figure beside another of the same run.

    python -m tests.benchmarks            everything, at full size
    python -m tests.benchmarks fold plan  some of it

A module here measures one thing: `measure(size)` gives its figures. Nothing is asserted about
speed; `test_benchmarks` only sees that every module still runs, at a size that means nothing.
"""
