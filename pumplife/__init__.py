"""Rebuild intervals and kit stock for air-operated double-diaphragm pumps.

From a plant's own records: ``study = pumplife.run_study("my plant")``.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pumplife.errors import (
        FolderError,
        NoFiniteEstimate,
        OutputError,
        PumplifeError,
        RecordError,
        SettingError,
    )
    from pumplife.policy.challenge import Challenge, challenge
    from pumplife.report.figures_timeline import plot_timeline, timeline_table
    from pumplife.report.write import write_study
    from pumplife.rewind.rewind import Rewind, run_rewind
    from pumplife.study import Study, run_study
    from pumplife.weibull.estimate import WeibullFit, fit_weibull

__version__ = "0.1.0"

_HOMES = {
    "Challenge": "policy.challenge",
    "FolderError": "errors",
    "NoFiniteEstimate": "errors",
    "OutputError": "errors",
    "PumplifeError": "errors",
    "RecordError": "errors",
    "SettingError": "errors",
    "Rewind": "rewind.rewind",
    "Study": "study",
    "WeibullFit": "weibull.estimate",
    "challenge": "policy.challenge",
    "fit_weibull": "weibull.estimate",
    "plot_timeline": "report.figures_timeline",
    "run_rewind": "rewind.rewind",
    "run_study": "study",
    "timeline_table": "report.figures_timeline",
    "write_study": "report.write",
}

__all__ = [
    "Challenge",
    "FolderError",
    "NoFiniteEstimate",
    "OutputError",
    "PumplifeError",
    "RecordError",
    "Rewind",
    "SettingError",
    "Study",
    "WeibullFit",
    "challenge",
    "fit_weibull",
    "plot_timeline",
    "run_rewind",
    "run_study",
    "timeline_table",
    "write_study",
]


def __getattr__(name: str) -> Any:
    """Load a public name when it is first used, so that importing the package stays quick."""
    if name not in _HOMES:
        raise AttributeError(f"module 'pumplife' has no attribute {name!r}")
    return getattr(import_module(f"pumplife.{_HOMES[name]}"), name)


def __dir__() -> list[str]:
    return sorted(__all__)
