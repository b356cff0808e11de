"""Progress of long work: one bar with an estimate, in a terminal or a notebook."""

import sys
from collections import Counter
from collections.abc import Iterable
from importlib.util import find_spec
from types import TracebackType
from typing import Any

USUAL = {
    "records": 3.0,
    "usage": 1.0,
    "lives": 2.0,
    "fits": 12.0,
    "intervals": 14.0,
    "stock": 13.0,
    "budget": 25.0,
    "rewind": 25.0,
    "report": 30.0,
    "what": 70.0,
}
"""How long steps take, by their first word: only their ratios count; from the demo plant."""
USUAL_STEPS = ("records", "usage", "lives", "fits", "intervals", "stock", "budget")
_LOOK = "{desc}: {percentage:3.0f}% |{bar}| {elapsed}, about {remaining} left"


class Progress:
    """A bar that moves with the steps of a study, and says about how long is left.

    ``with Progress() as told: run_study(folder, told=told)``

    Parameters
    ----------
    steps : iterable of str
        The steps that are expected; one that comes unexpected makes the bar longer.
    """

    def __init__(self, steps: Iterable[str] = USUAL_STEPS) -> None:
        self._left = Counter(map(_kind, steps))
        self._doing = ""
        total = sum(USUAL.get(kind, 1.0) * count for kind, count in self._left.items())
        self._bar = _make_bar(total)

    def __repr__(self) -> str:
        return f"<Progress: {self._bar.n / self._bar.total:.0%}>"

    def __enter__(self) -> "Progress":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._bar.close()

    def __call__(self, step: str) -> None:
        """Say that a step begins; the one before it is done."""
        if self._doing:
            self._bar.update(USUAL.get(self._doing, 1.0))
        self._doing = _kind(step)
        if self._left[self._doing]:
            self._left[self._doing] -= 1
        else:
            self._bar.total += USUAL.get(self._doing, 1.0)
        self._bar.set_description(step)


def _kind(step: str) -> str:
    return step.split(maxsplit=1)[0].rstrip(":")


def _make_bar(total: float) -> Any:
    """A bar; none where nobody looks, such as in a log."""
    if _in_notebook() and find_spec("ipywidgets") is not None:
        from tqdm.notebook import tqdm as bar  # noqa: PLC0415  (only there)

        return bar(total=total, leave=False, smoothing=0.0)
    from tqdm import tqdm  # noqa: PLC0415  (only where work is long)

    return tqdm(total=total, disable=None, leave=False, smoothing=0.0, bar_format=_LOOK)


def _in_notebook() -> bool:
    """Tell if a kernel runs this; that its module is loaded says nothing."""
    shell = sys.modules["IPython"].get_ipython() if "IPython" in sys.modules else None
    return shell is not None and hasattr(shell, "kernel")
