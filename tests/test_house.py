"""The house's own rules: how long a module is, who may print, who may touch files, what has a unit and a docstring."""

import ast
import tomllib
from pathlib import Path

import pytest

from proofstrip.columns import POINT_COLUMNS, STRIP_COLUMNS
from proofstrip.config import config_folder
from proofstrip.units import registry

PACKAGE = Path(__file__).resolve().parents[1] / "pipeline" / "proofstrip"
MODULES = sorted(PACKAGE.rglob("*.py"))
MAX_LINES = 400
# Calls that open, read, list or write files, on a path or on a table.
FILE_CALLS = {
    "open",
    "read_text",
    "read_bytes",
    "write_text",
    "write_bytes",
    "mkdir",
    "iterdir",
    "glob",
    "rglob",
    "unlink",
    "rename",
    "rmtree",
    "is_file",
    "exists",
    "read_csv",
    "read_parquet",
    "read_file",
    "read_dataframe",
    "to_csv",
    "to_parquet",
    "to_file",
    "savefig",
}
FILES_ALLOWED = (
    "read/",
    "report/",
    "archive/",
    "cli/",
    "review/",
    "record.py",
    "whole.py",
    "toml_file.py",
    "config.py",
    "season/",
)
# Not in the list of the style: each names why.
FILES_BESIDE = {
    "crops.py": "loads configs/crops.toml",
    "layout/folder.py": "writes the layout folder",
    "read/names.py": "loads configs/column_names.toml",
    "simulate/export.py": "makes the text of tables; the command writes them",
    "pool/files.py": "reads run folders and tables of sites",
    "pool/gain.py": "reads pool.json",
    "pool/page.py": "writes pool.html and its pictures",
}


def _name(module: Path) -> str:
    """Give a module's path inside the package."""
    return module.relative_to(PACKAGE).as_posix()


def _calls(module: Path) -> set[str]:
    """Give the names of the functions and methods that a module calls."""
    nodes = [node.func for node in ast.walk(ast.parse(module.read_text("utf-8"))) if isinstance(node, ast.Call)]
    return {node.attr if isinstance(node, ast.Attribute) else getattr(node, "id", "") for node in nodes}


def _imports(module: Path) -> set[str]:
    """Give the top packages that a module imports."""
    found = set()
    for node in ast.walk(ast.parse(module.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name.partition(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module.partition(".")[0])
    return found


@pytest.mark.parametrize("module", MODULES, ids=_name)
def test_module_is_not_too_long(module: Path) -> None:
    assert len(module.read_text("utf-8").splitlines()) <= MAX_LINES


@pytest.mark.parametrize("module", [m for m in MODULES if not _name(m).startswith("cli/")], ids=_name)
def test_only_commands_speak_to_the_user(module: Path) -> None:
    assert "click" not in _imports(module)
    assert "print" not in _calls(module)


@pytest.mark.parametrize("module", [m for m in MODULES if not _name(m).startswith(FILES_ALLOWED)], ids=_name)
def test_only_the_edges_touch_files(module: Path) -> None:
    touched = _calls(module) & FILE_CALLS
    assert not touched or _name(module) in FILES_BESIDE


@pytest.mark.parametrize("column", [c for c in (*POINT_COLUMNS, *STRIP_COLUMNS) if c.unit], ids=lambda c: c.name)
def test_unit_of_a_column_is_one(column) -> None:
    registry().Unit(column.unit)


# Units that stand for a crop's bushel; pint's own bushel is a volume.
BY_CROP = ("bu", "bu/h", "bu/ac")
NAMES = tomllib.loads((config_folder() / "column_names.toml").read_text("utf-8"))


@pytest.mark.parametrize("unit", sorted({unit for units in NAMES["unit"].values() for unit in units} - set(BY_CROP)))
def test_unit_of_a_raw_column_is_one(unit: str) -> None:
    registry().Unit(unit)


@pytest.mark.parametrize("quantity", [name for name in NAMES if name != "unit"])
def test_quantity_measures_something_that_has_units(quantity: str) -> None:
    measures = NAMES[quantity].get("measures")
    assert measures is None or NAMES["unit"][measures]
    assert "names_with_unit" not in NAMES[quantity] or measures or quantity == "time"


@pytest.mark.parametrize("module", MODULES, ids=_name)
def test_whatever_is_public_has_a_docstring(module: Path) -> None:
    tree = ast.parse(module.read_text("utf-8"))
    assert ast.get_docstring(tree)
    public = [
        node
        for parent in (tree, *(n for n in tree.body if isinstance(n, ast.ClassDef)))
        for node in parent.body
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_")
    ]
    assert not [node.name for node in public if not ast.get_docstring(node)]
