"""Put a planted fault together: the clean folder with the files of the fault laid over it."""

import shutil
import tomllib
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
CLEAN = HERE / "clean"
NAMES = sorted(path.parent.name for path in HERE.glob("*/expected.toml"))


def expect(name: str) -> dict[str, Any]:
    """What expected.toml of a fault says: found, and the tables that it is without."""
    return tomllib.loads((HERE / name / "expected.toml").read_text(encoding="utf-8"))


def plant(name: str, folder: Path) -> Path:
    """Write the clean folder with a fault into a folder."""
    shutil.copytree(CLEAN, folder, dirs_exist_ok=True)
    for table in expect(name).get("without", []):
        (folder / f"{table}.csv").unlink()
    for file in (HERE / name).iterdir():
        if file.name != "expected.toml":
            shutil.copy(file, folder / file.name)
    return folder
