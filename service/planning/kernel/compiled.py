"""How the planning kernels are compiled.

They also run uncompiled (NUMBA_DISABLE_JIT=1) with the same result; numpy's scalars are therefore
widened before they are shifted or multiplied.

Compiled code is kept on disk. A compiled caller has its callees and the constants it imports in
it, and numba would notice a change of the caller's own file alone; so the name of the folder in
which it is kept is made of the sources of all kernels.
"""

from collections.abc import Callable
from functools import partial
from hashlib import sha256
from pkgutil import get_data, iter_modules
from typing import Any, TypeAlias, TypeVar, cast

import numpy as np
from numba import njit
from numba.core import config

from service.planning import kernel

Int: TypeAlias = Any
"""A whole number in a kernel: int64 compiled; int or one of numpy's scalars uncompiled."""

Kernel = TypeVar("Kernel", bound=Callable[..., object])


# The kernels are given all their arrays, so they need no counting of references (_nrt), which would
# cost ten times the work itself; and they never divide by 0, so no path raises (error_model).
# Bounds are not checked: `soundness` has looked at the arrays before. With NUMBA_BOUNDSCHECK=1 they
# are, and an IndexError is raised.
_njit: Callable[..., Any] = partial(njit, error_model="numpy", _nrt=False)


_numba: Any = config  # it sets its attributes by their names

IMPORTED = (("service.vocabulary", "calendar"),)
"""Modules of other packages that kernels take constants from, each with its package."""


def _sources_digest() -> str:
    """What tells these kernels, compiled as they now are, from all others, in hexadecimal."""
    modules = [("service.planning.kernel", module.name) for module in iter_modules(kernel.__path__)]
    digest = sha256(b"bounds checked" if _numba.BOUNDSCHECK else b"")
    for package, name in (*sorted(modules), *IMPORTED):
        # as the interpreter reads it, wherever the package lies
        digest.update(sha256(get_data(package, f"{name}.py") or b"").digest())
    return digest.hexdigest()[:16]


FOLDERS = "kernels-"
"""What the names of folders with compiled code begin with."""
_ABOVE = _numba.CACHE_DIR or f"{kernel.__path__[0]}/__pycache__"
CACHE_FOLDER = f"{_ABOVE}/{FOLDERS}{_sources_digest()}"
"""Where compiled code is kept: beneath NUMBA_CACHE_DIR, or beside the sources."""
_numba.CACHE_DIR = CACHE_FOLDER


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
