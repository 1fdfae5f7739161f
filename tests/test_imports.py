"""The flow goes one way: a module imports only what stands before it."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "talklog"

# First comes first. Modules of one row know nothing of each other unless in this order.
LAYERS = (
    "errors",
    "folders",
    "nouns",
    "transcript",
    "progress",
    "quiet",
    "sound_files.kinds",
    "sound_files.headers",
    "sound_files.plain",
    "sound_files.coded",
    "audio",
    "handsfree",
    "number_words.kinds",
    "number_words.lexicon",
    "number_words.names",
    "number_words.typed_words",
    "number_words.tokens",
    "number_words.integers",
    "number_words.wholes",
    "number_words.decimals",
    "number_words.fractions",
    "number_words.atoms",
    "number_words.alike",
    "number_words.search",
    "numbers",
    "soundalikes",
    "rehearing",
    "recognise",
    "typed",
    "second_listener",
    "formats",
    "word_kinds",
    "word_files",
    "vocabulary",
    "said",
    "own_words.graph_file",
    "own_words.sounds",
    "own_words.word_list",
    "own_words.graph",
    "own_words.add",
    "own_words.unheard",
    "trades",
    "mentions",
    "notes",
    "scopes",
    "shapes",
    "places",
    "roled",
    "clues",
    "numberclues",
    "encoder",
    "wordpieces",
    "packed",
    "notenet",
    "noterows",
    "notearrays",
    "notereader",
    "verbs",
    "rates",
    "mixed",
    "lists",
    "role_rules.units_behind",
    "role_rules.doubts",
    "role_rules.without_cue",
    "role_rules.cued",
    "roles",
    "seeing.kinds",
    "seeing.spans",
    "seeing.verbs_as_nouns",
    "seeing.things",
    "seeing.number_chances",
    "seeing.cuts",
    "seeing.tellings",
    "seen",
    "place_lists",
    "trained",
    "chooser",
    "links",
    "belonging.found_note",
    "belonging.things",
    "belonging.leading_places",
    "belonging.ruled_places",
    "belonging.read_places",
    "belonging.trailing_places",
    "belonging.announced_places",
    "belonging.settled_places",
    "belonging.states",
    "belonging.quantity_words",
    "context",
    "quantity",
    "readings",
    "perhaps",
    "undecided",
    "sureness",
    "presumed",
    "relative",
    "likened",
    "sequels",
    "rivals",
    "heads",
    "taken_up",
    "distrust",
    "glued",
    "undone",
    "others",
    "denied",
    "beside",
    "excepted",
    "actions",
    "part_rules.listed",
    "part_rules.cued",
    "part_rules.counted",
    "parts",
    "findings",
    "followups",
    "warned",
    "confidence",
    "assemble",
    "explain",
    "cautions",
    "units",
    "bands",
    "sheets",
    "verdicts.kinds",
    "verdicts.names",
    "verdicts.outcomes",
    "verdicts.meant_bands",
    "verdicts.mistaken",
    "verdicts.judging",
    "verdicts.flags",
    "check",
    "record",
    "new_record",
    "corrected.as_checked",
    "corrected.fields",
    "corrected.verdicts",
    "corrected.flags",
    "corrections",
    "report",
    "outputs",
    "days",
    "pipeline",
    "inputs",
    "logbook.canonical",
    "logbook.kinds",
    "logbook.database",
    "logbook.audio_folder",
    "logbook.works",
    "logbook.rows",
    "logbook.seals",
    "logbook.writing",
    "logbook.store",
    "logbook.due",
    "logbook.calendars",
    "logbook.lines",
    "logbook.latest",
    "logbook.history",
    "logbook.tables",
    "logbook.plots",
    "logbook.verify",
    "logbook.backups",
    "logbook.exports",
    "logbook.serials",
    "logbook.incoming",
    "live.sources",
    "live.growing",
    "live.alerts",
    "live.session",
    "live.listening",
    "web.safety",
    "web.sound",
    "web.drawings",
    "web.items",
    "web.intake",
    "web.frame",
    "web.entries",
    "web.shelves",
    "web.site",
    "commands.common",
    "commands.records",
    "commands.listen",
    "commands.book",
    "commands.machine",
    "commands.watch",
    "commands.bands",
    "commands.models",
    "commands.review",
    "cli",
    "__main__",
)
# Where each library may be imported: names of modules, or of packages for all of their modules.
OWNERS = {
    "vosk": {"recognise"},
    "spacy": {"mentions", "notereader", "seen"},
    "pint": {"units"},
    "pydantic": {"record", "bands"},
    "click": {"cli", "commands"},
    "jinja2": {"report", "web.frame"},
    "soundfile": {"sound_files.plain"},
    "soxr": {"audio"},
    "av": {"sound_files.coded"},
    "numpy": {
        "own_words",
        "encoder",
        "packed",
        "notenet",
        "noterows",
        "notearrays",
        "notereader",
        "seeing",
        "sound_files",
        "audio",
        "recognise",
        "rehearing",
        "live.alerts",
    },
    "matplotlib": {"logbook.plots"},
    "starlette": {"web"},
    "uvicorn": {"commands.review"},
    "sqlite3": {"logbook.database"},
    "sounddevice": {"live"},
    "faster_whisper": {"second_listener"},
}
MODULES = sorted(PACKAGE.rglob("*.py"))


def name_of(path: Path) -> str:
    """The name below talklog: "audio", "logbook.store"; of a package, its own."""
    parts = path.relative_to(PACKAGE).with_suffix("").parts
    return ".".join(part for part in parts if part != "__init__")


def imports(path: Path) -> list[str]:
    """The module named by every import statement, wherever it stands."""
    tree = ast.parse(path.read_text("utf-8"))
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name}: relative import"
            found += [f"{node.module}.{alias.name}" for alias in node.names]
    return found


def inner(path: Path) -> set[str]:
    """Modules of talklog that a file imports."""
    known = {name_of(module) for module in MODULES}
    found = set()
    for name in imports(path):
        if name.startswith("talklog."):
            below = name.removeprefix("talklog.")
            found.add(below if below in known else below.rpartition(".")[0])
    return found - {""}


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_a_module_imports_only_what_stands_before_it(path: Path) -> None:
    name = name_of(path)
    if path.stem == "__init__":
        assert not inner(path)
        return
    assert name in LAYERS, f"give {name} its place in LAYERS"
    backwards = {other for other in inner(path) if LAYERS.index(other) >= LAYERS.index(name)}
    assert not backwards, f"{name} imports {sorted(backwards)}, which stand behind it"


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_a_library_is_imported_only_by_its_owner(path: Path) -> None:
    name = name_of(path)
    for imported in imports(path):
        library = imported.split(".")[0]
        owners = OWNERS.get(library, {name})
        assert {name, name.split(".")[0]} & owners, f"{name} imports {library}"


def test_the_steps_know_nothing_of_what_comes_later() -> None:
    """The rows of the design: who must not know what."""
    must_not = {
        "numbers": {"units", "bands", "vocabulary"},
        "mentions": {"units", "bands", "check"},
        "roles": {"bands", "check"},
        "assemble": {"bands", "check", "record", "new_record"},
        "check": {"record", "new_record", "recognise", "audio"},
        "report": {"notes", "check", "verdicts.kinds", "bands", "transcript", "assemble"},
    }
    for name, forbidden in must_not.items():
        path = PACKAGE / f"{name}.py"
        assert path.exists(), name
        assert not inner(path) & forbidden, name


def test_only_the_command_prints() -> None:
    for path in MODULES:
        if name_of(path).split(".")[0] in ("cli", "commands", "__main__"):
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
