"""How the planning kernels are compiled.

They also run uncompiled (NUMBA_DISABLE_JIT=1) with the same result; numpy's scalars are therefore
widened before they are shifted or multiplied.

A compiled caller that lies in the cache holds its callees and the constants it imports. It is
thrown away when its own file changes, not when theirs does: after a change in `line`, `heaps`,
`minutes`, `desks`, `trays`, `wheel` or `circles`, delete the cached files (`*.nbi`, `*.nbc`) or
touch `kernel`, `backward`, `readings` and `soundness`. An installed release is not concerned, all
its files are new; but the index of an old cache names the classes `Run` and `Problem`, and cannot
be read if they are called otherwise.
"""

from collections.abc import Callable
from functools import partial
from typing import Any, TypeAlias, TypeVar, cast

import numpy as np
from numba import njit

Int: TypeAlias = Any
"""A whole number in a kernel: int64 compiled; int or one of numpy's scalars uncompiled."""

Kernel = TypeVar("Kernel", bound=Callable[..., object])


# The kernels are given all their arrays, so they need no counting of references (_nrt), which would
# cost ten times the work itself; and they never divide by 0, so no path raises (error_model).
# Bounds are not checked: `soundness` has looked at the arrays before. With NUMBA_BOUNDSCHECK=1 they
# are, and an IndexError is raised; code compiled so belongs into a cache of its own.
_njit: Callable[..., Any] = partial(njit, error_model="numpy", _nrt=False)


def compiled(function: Kernel) -> Kernel:
    """Compile on first call, keep the result on disk, let other threads run meanwhile."""
    return cast(Kernel, _njit(cache=True, nogil=True)(function))


def inlined(function: Kernel) -> Kernel:
    """Compile into each caller: a call would pass every array of a problem on the stack."""
    return cast(Kernel, _njit(inline="always")(function))


_INDEX = (1 << 31) - 1


@inlined
def index(number: Int) -> Int:
    """A number that is not negative, as int64, so that the compiler need not count from the end."""
    return np.int64(number) & _INDEX


# min and max of Python are compiled to calls, each as long as the rest of a short function.


@inlined
def least(a: Int, b: Int) -> Int:
    """The smaller one."""
    return a if a < b else b


@inlined
def most(a: Int, b: Int) -> Int:
    """The larger one."""
    return a if a > b else b
