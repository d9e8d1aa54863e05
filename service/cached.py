"""Properties that are worked out once for an instance."""

from collections.abc import Callable
from typing import Any, Generic, Self, TypeVar, overload

T = TypeVar("T")


class cached_property(Generic[T]):  # noqa: N801  # used as the decorator of functools is
    """A property that is worked out at its first reading and kept in the instance.

    As `functools.cached_property` is from Python 3.12 on. That of 3.11 holds one lock for all
    instances of a class meanwhile, so that one studio's plan would wait for another's. Without it,
    two threads that read at once may both work it out; they must come to the same.
    """

    def __init__(self, work_out: Callable[[Any], T]) -> None:
        self._work_out = work_out
        self.__doc__ = work_out.__doc__

    def __set_name__(self, owner: type, name: str) -> None:
        self._name = name

    @overload
    def __get__(self, instance: None, owner: type) -> Self: ...
    @overload
    def __get__(self, instance: object, owner: type) -> T: ...
    def __get__(self, instance: object | None, owner: type) -> Self | T:
        if instance is None:
            return self
        # found there from now on, before this is asked
        value = vars(instance)[self._name] = self._work_out(instance)
        return value
