"""The flow goes one way: a module imports only what stands before it."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "talklog"

# First comes first. Modules of one row know nothing of each other unless in this order.
LAYERS = (
    "errors",
    "transcript",
    "progress",
    "audio",
    "recognise",
    "typed",
    "formats",
    "numbers",
    "vocabulary",
    "mentions",
    "notes",
    "scopes",
    "shapes",
    "places",
    "roled",
    "lists",
    "roles",
    "context",
    "readings",
    "things",
    "followups",
    "assemble",
    "cautions",
    "units",
    "bands",
    "sheets",
    "check",
    "record",
    "report",
    "outputs",
    "pipeline",
    "inputs",
    "cli",
    "__main__",
)
# Where each library may be imported. The others: click in cli, jinja2 in report, and so on.
OWNERS = {
    "vosk": {"recognise"},
    "spacy": {"mentions"},
    "pint": {"units"},
    "pydantic": {"record", "bands"},
    "click": {"cli"},
    "jinja2": {"report"},
    "soundfile": {"audio"},
    "soxr": {"audio"},
    "av": {"audio"},
    "numpy": {"audio", "recognise"},
}
MODULES = sorted(PACKAGE.glob("*.py"))


def imports(path: Path) -> list[str]:
    """The module named by every import statement, wherever it stands."""
    tree = ast.parse(path.read_text("utf-8"))
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name}: relative import"
            names = [f"talklog.{alias.name}" for alias in node.names]
            found += names if node.module == "talklog" else [node.module]
    return found


def inner(path: Path) -> set[str]:
    """Modules of talklog that a file imports."""
    names = {name.split(".")[1] for name in imports(path) if name.startswith("talklog.")}
    return names - {"__version__"}


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.stem)
def test_a_module_imports_only_what_stands_before_it(path: Path) -> None:
    if path.stem == "__init__":
        assert not inner(path)
        return
    assert path.stem in LAYERS, f"give {path.stem} its place in LAYERS"
    place = LAYERS.index(path.stem)
    backwards = {name for name in inner(path) if LAYERS.index(name) >= place}
    assert not backwards, f"{path.stem} imports {sorted(backwards)}, which stand behind it"


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.stem)
def test_a_library_is_imported_only_by_its_owner(path: Path) -> None:
    for name in imports(path):
        library = name.split(".")[0]
        assert path.stem in OWNERS.get(library, {path.stem}), f"{path.stem} imports {library}"


def test_the_steps_know_nothing_of_what_comes_later() -> None:
    """The rows of the design: who must not know what."""
    must_not = {
        "numbers": {"units", "bands", "vocabulary"},
        "mentions": {"units", "bands", "check"},
        "roles": {"bands", "check"},
        "assemble": {"bands", "check", "record"},
        "check": {"record", "recognise", "audio"},
        "report": {"notes", "check", "bands", "transcript", "assemble"},
    }
    for name, forbidden in must_not.items():
        path = PACKAGE / f"{name}.py"
        assert path.exists(), name
        assert not inner(path) & forbidden, name


def test_only_the_command_prints() -> None:
    for path in MODULES:
        if path.stem in ("cli", "__main__"):
            continue
        calls = [n for n in ast.walk(ast.parse(path.read_text("utf-8"))) if isinstance(n, ast.Call)]
        printing = [c.lineno for c in calls if getattr(c.func, "id", "") == "print"]
        allowed = 1 if path.stem == "record" else 0  # writes the schema, run as a program
        assert len(printing) <= allowed, f"{path.name} prints in lines {printing}"


def test_functions_stay_short() -> None:
    for path in MODULES:
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.FunctionDef):
                assert node.end_lineno - node.lineno < 50, f"{path.name}: {node.name}"
