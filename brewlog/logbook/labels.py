"""Read-only tables of records by label, whose errors name the nearest label."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Generic, TypeVar

from brewlog.logbook.values import nearest

T = TypeVar("T")


class UnknownLabel(KeyError):
    """A label that is not there; its text names those that are."""

    def __str__(self) -> str:
        return str(self.args[0])


class Labelled(Mapping[str, T], Generic[T]):
    """Records by label, in the order of the file.

    Examples
    --------
    >>> Labelled("rig", "rigs.csv", {"kitchen": 1, "shed": 2})["Kitchn"]
    Traceback (most recent call last):
        ...
    brewlog.logbook.labels.UnknownLabel: rig 'Kitchn' is not in rigs.csv; it has 'kitchen' and 'shed'. Did you ...
    """

    def __init__(self, noun: str, file: str, records: Mapping[str, T]) -> None:
        self._noun, self._file, self._records = noun, file, dict(records)

    def __getitem__(self, label: str) -> T:
        try:
            return self._records[label]
        except (KeyError, TypeError):
            raise UnknownLabel(self.unknown(str(label))) from None

    def __iter__(self) -> Iterator[str]:
        return iter(self._records)

    def __len__(self) -> int:
        return len(self._records)

    def __repr__(self) -> str:
        return f"{type(self).__name__}({self._noun}: {', '.join(self._records)})"

    def unknown(self, label: str) -> str:
        """Message for a label that is not there."""
        labels = [repr(known) for known in self._records]
        if not labels:
            has = "it has none"
        elif len(labels) > 8:
            has = f"it has {len(labels)} others"
        else:
            has = f"it has {', '.join(labels[:-1])}{' and ' if len(labels) > 1 else ''}{labels[-1]}"
        near = nearest(label, self._records)
        hint = f" Did you mean {near!r}?" if near else ""
        return f"{self._noun} {label!r} is not in {self._file}; {has}.{hint}"

    def _ipython_key_completions_(self) -> list[str]:
        return list(self._records)
