"""The last few answers, remembered by their questions."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Generic, TypeVar

T = TypeVar("T")


class Memory(Generic[T]):
    """The last few answers, by their question: all that the answer depends on, and nothing else."""

    def __init__(self, most: int) -> None:
        self._kept: OrderedDict[Hashable, T] = OrderedDict()
        self._most = most

    def __contains__(self, question: Hashable) -> bool:
        return question in self._kept

    def recall(self, question: Hashable, work_out: Callable[[], T]) -> T:
        """The answer remembered, or worked out now."""
        answer = self._kept[question] if question in self._kept else work_out()
        self._kept[question] = answer
        self._kept.move_to_end(question)
        if len(self._kept) > self._most:
            self._kept.popitem(last=False)
        return answer

    def clear(self) -> None:
        """Forget everything."""
        self._kept.clear()
