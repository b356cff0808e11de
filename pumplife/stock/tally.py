"""How often each whole number came up: what many futures say, whatever their number."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tally:
    """How often each whole number came up.

    Attributes
    ----------
    lowest : int
        The number that the first entry counts; 0 or below.
    times : int array (numbers,)
        How often each number from the lowest on came up, up to 0 at least; empty where nothing
        was counted.
    """

    lowest: int
    times: IntArray

    def __repr__(self) -> str:
        return f"Tally({self.lowest} to {self.highest})"

    @property
    def highest(self) -> int:
        """The highest number that came up; 0 where none did."""
        return self.lowest + len(self.times) - 1 if len(self.times) else 0

    @property
    def nothing(self) -> bool:
        """Whether no other number than 0 came up."""
        return int(self.times.sum()) == int(self.times[-self.lowest : 1 - self.lowest].sum())

    @property
    def of(self) -> int:
        """How many numbers were counted."""
        return int(self.times.sum())

    @property
    def below(self) -> float:
        """Mean of what the numbers lie below 0; 0 where none does."""
        under = np.arange(-self.lowest, 0, -1)
        return float(self.times[: -self.lowest] @ under / self.of) if self.lowest else 0.0

    def shares(self) -> FloatArray:
        """Shares of 0, 1, 2 ..., what lies below 0 counted as 0."""
        kept = self.times[-self.lowest :].astype(np.float64)
        kept[0] += self.times[: -self.lowest].sum() if self.lowest else 0
        return np.asarray(kept / self.of)


def tally(numbers: ArrayLike) -> Tally:
    """Count whole numbers."""
    whole = np.asarray(numbers, dtype=np.intp).ravel()
    lowest = min(0, int(whole.min(initial=0)))
    least = 1 - lowest if whole.size else 0
    return Tally(lowest=lowest, times=np.bincount(whole - lowest, minlength=least))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tallies:
    """Tallies of many rows side by side.

    Attributes
    ----------
    lowest : int
        The number that the first column counts; 0 or below.
    times : int array (rows, numbers)
        As of `Tally`, 0 beyond what came up in a row.
    length : int array (rows,)
        Columns of each row's own tally.
    """

    lowest: int
    times: IntArray
    length: IntArray

    def __repr__(self) -> str:
        return f"Tallies({len(self.length)} rows)"

    def each(self) -> list[Tally]:
        """The tally of each row."""
        return [
            Tally(lowest=self.lowest, times=one[:n])
            for one, n in zip(self.times, self.length.tolist(), strict=True)
        ]


def tally_rows(
    row: IntArray,
    value: IntArray,
    rows: int,
    zeros: IntArray,
    times: IntArray | None = None,
) -> Tallies:
    """Count whole numbers row by row.

    Parameters
    ----------
    row : int array (numbers,)
        Which row each number belongs to.
    value : int array (..., numbers)
        The numbers, of each row as often as there are leading places.
    rows : int
    zeros : int array (rows,)
        How often each row had 0 besides.
    times : int array (..., numbers), optional
        How often each number came up; once by default.
    """
    lowest = min(0, int(value.min(initial=0)))
    width = int(value.max(initial=0)) - lowest + 1
    cell = value + (row * width - lowest)
    often = None if times is None else times.ravel()
    found = np.bincount(cell.ravel(), often, minlength=rows * width).astype(np.intp, copy=False)
    found = found.reshape(rows, width)
    found[:, -lowest] += zeros
    used = np.maximum(width - np.argmax(found[:, ::-1] > 0, axis=1), 1 - lowest)
    used[~found.any(axis=1)] = 0
    return Tallies(lowest=lowest, times=found, length=used)
