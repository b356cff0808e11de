"""What made a study: the versions of Python, of the libraries and of this code."""

import hashlib
import platform
from collections.abc import Iterable
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

MADE_BY = "pumplife"
LIBRARIES = ("numpy", "scipy", "pandas", "lifelines", "reliability", "matplotlib", "jinja2")
_ROOT = Path(__file__).parents[1]


def list_versions() -> dict[str, str]:
    """Versions by name; "code" is the SHA-256 of the package's own files [hexadecimal]."""
    return {
        "python": platform.python_version(),
        **_installed((MADE_BY, *LIBRARIES)),
        "code": _digest_code(),
    }


def _installed(names: Iterable[str]) -> dict[str, str]:
    found = {}
    for name in names:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            found[name] = "not installed"
    return found


@cache
def _digest_code() -> str:
    """Digest what computes: modules and the data beside them, by name and content."""
    total = hashlib.sha256()
    for file in sorted(_ROOT.rglob("*")):
        if file.suffix in (".py", ".csv"):
            total.update(file.relative_to(_ROOT).as_posix().encode())
            total.update(file.read_bytes().replace(b"\r\n", b"\n"))
    return total.hexdigest()
