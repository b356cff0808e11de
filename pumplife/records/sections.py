"""Where plant.toml must have a section: said when something else stands there."""

from typing import Any

from pumplife.errors import SettingError

_NESTED = (
    "plant.site.*", "costs.service.*", "work.*", "prior.*", "inspection", "targets", "evidence",
    "trials", "calendar.site.*", "budget.price_rise", "storage.years", "stock", "columns.*",
    "codes.*.*", "text.*",
)  # fmt: skip
"""Sections within sections; * stands for every name there."""


def check_sections(raw: dict[str, Any]) -> None:
    """Check that what is read as a section, or as a section within one, is a section.

    Raises
    ------
    SettingError
        When a value stands where a section must.
    """
    for path in _NESTED:
        _check_path(raw, path.split("."), "")


def _check_path(owner: dict[str, Any], path: list[str], before: str) -> None:
    if not path:
        return
    names = list(owner) if path[0] == "*" else [path[0]]
    for name in names:
        title = f"{before}.{_word(name)}" if before else name
        _check_path(section_of(owner, name, title), path[1:], title)


def _word(name: str) -> str:
    return name if name.replace("_", "").replace("-", "").isalnum() else f'"{name}"'


def section_of(owner: dict[str, Any], name: str, title: str) -> dict[str, Any]:
    """Give a section by name, empty where it isn't written.

    Raises
    ------
    SettingError
        When it is no section.
    """
    given = owner.get(name, {})
    if not isinstance(given, dict):
        raise SettingError(f"plant.toml: {title} must be a section, written [{title}].")
    return given
