"""The house rules: imports run one way, files and functions stay small, nothing prints."""

import ast
import statistics
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "pumplife"
ROUTE = [
    "errors", "records", "lives", "weibull", "fits", "policy", "materials", "stock", "rewind",
    "since", "ticket", "report",
]  # fmt: skip
DOORS = {"__init__", "__main__", "study", "conclusions", "cli"}
FILES = sorted(PACKAGE.rglob("*.py"))


def room_of(path):
    return path.relative_to(PACKAGE).with_suffix("").parts[0]


def imports_of(tree):
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module:
            yield node.module
        elif isinstance(node, ast.Import):
            yield from (name.name for name in node.names)


def is_typing_block(node):
    return isinstance(node, ast.If) and getattr(node.test, "id", "") == "TYPE_CHECKING"


def parse(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    tree.body = [node for node in tree.body if not is_typing_block(node)]
    return tree


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_nothing_imports_from_its_right(path):
    here = room_of(path)
    if here in DOORS:
        return
    for module in imports_of(parse(path)):
        if not module.startswith("pumplife."):
            continue
        there = module.split(".")[1]
        assert there in ROUTE, f"{path.name} imports {module}"
        assert ROUTE.index(there) <= ROUTE.index(here), f"{path.name} imports {module}"
        if here == "weibull":
            assert there in {"weibull", "errors"}, f"weibull sees arrays only, not {module}"
        assert (here, there) != ("stock", "materials"), "stock knows no materials"


def test_weibull_never_loads_pandas_at_import():
    for path in (PACKAGE / "weibull").glob("*.py"):
        tree = parse(path)
        assert "pandas" not in {m.split(".")[0] for m in imports_of(ast.Module(tree.body, []))} or (
            all(
                not isinstance(node, ast.Import | ast.ImportFrom) or "pandas" not in ast.dump(node)
                for node in tree.body
            )
        ), path.name


def functions():
    for path in FILES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef):
                doc = ast.get_docstring(node, clean=False) or ""
                yield path, node, node.end_lineno - node.lineno - doc.count("\n")


def test_functions_and_files_stay_small():
    sizes = [(size, f"{path.name}:{node.name}") for path, node, size in functions()]
    assert max(sizes)[0] <= 60, max(sizes)
    assert statistics.median(size for size, _ in sizes) <= 12
    longest = max((path.read_text(encoding="utf-8").count("\n"), path.name) for path in FILES)
    assert longest[0] <= 400, longest


def test_nothing_prints_and_nothing_imports_a_star():
    for path in FILES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call):
                assert getattr(node.func, "id", "") != "print", path.name
            if isinstance(node, ast.ImportFrom):
                assert all(alias.name != "*" for alias in node.names), path.name
