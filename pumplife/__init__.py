"""Rebuild intervals and kit stock for air-operated double-diaphragm pumps.

From a plant's own records: ``study = pumplife.run_study("my plant")``.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pumplife.errors import (
        ComparisonError,
        FolderError,
        NoFiniteEstimate,
        OutputError,
        PumplifeError,
        RecordError,
        SettingError,
    )
    from pumplife.materials.table import Materials, compare_materials
    from pumplife.materials.trial_looks import Looks, plan_looks
    from pumplife.materials.trial_play import (
        PlayedTrials,
        TrialPlan,
        plan_trial,
        play_trials,
    )
    from pumplife.materials.trial_size import (
        Demonstration,
        TrialDesign,
        events_needed,
        plan_demonstration,
    )
    from pumplife.policy.challenge import Challenge, challenge
    from pumplife.report.figures_timeline import plot_timeline, timeline_table
    from pumplife.report.progress import Progress
    from pumplife.report.write import write_study
    from pumplife.rewind.rewind import Rewind, run_rewind
    from pumplife.study import Study, run_study
    from pumplife.weibull.estimate import WeibullFit, fit_weibull

__version__ = "0.1.0"

_HOMES = {
    "Challenge": "policy.challenge",
    "ComparisonError": "errors",
    "Demonstration": "materials.trial_size",
    "FolderError": "errors",
    "Looks": "materials.trial_looks",
    "Materials": "materials.table",
    "NoFiniteEstimate": "errors",
    "OutputError": "errors",
    "PlayedTrials": "materials.trial_play",
    "Progress": "report.progress",
    "PumplifeError": "errors",
    "RecordError": "errors",
    "Rewind": "rewind.rewind",
    "SettingError": "errors",
    "Study": "study",
    "TrialDesign": "materials.trial_size",
    "TrialPlan": "materials.trial_play",
    "WeibullFit": "weibull.estimate",
    "challenge": "policy.challenge",
    "compare_materials": "materials.table",
    "events_needed": "materials.trial_size",
    "fit_weibull": "weibull.estimate",
    "plan_demonstration": "materials.trial_size",
    "plan_looks": "materials.trial_looks",
    "plan_trial": "materials.trial_play",
    "play_trials": "materials.trial_play",
    "plot_timeline": "report.figures_timeline",
    "run_rewind": "rewind.rewind",
    "run_study": "study",
    "timeline_table": "report.figures_timeline",
    "write_study": "report.write",
}

__all__ = [
    "Challenge",
    "ComparisonError",
    "Demonstration",
    "FolderError",
    "Looks",
    "Materials",
    "NoFiniteEstimate",
    "OutputError",
    "PlayedTrials",
    "Progress",
    "PumplifeError",
    "RecordError",
    "Rewind",
    "SettingError",
    "Study",
    "TrialDesign",
    "TrialPlan",
    "WeibullFit",
    "challenge",
    "compare_materials",
    "events_needed",
    "fit_weibull",
    "plan_demonstration",
    "plan_looks",
    "plan_trial",
    "play_trials",
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
