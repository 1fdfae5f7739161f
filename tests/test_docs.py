"""The documents and the program say the same: commands, options, errors, cues, the CI script."""

import inspect
import re
import shlex
import tomllib
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

from talklog import errors
from talklog.cli import cli
from talklog.word_kinds import CATEGORIES

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text("utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text("utf-8")
CI = (ROOT / ".ci" / "run").read_text("utf-8")
DATA = ROOT / "talklog" / "data"


def commands(group: click.Group, name: str = "talklog") -> Iterator[tuple[str, click.Command]]:
    yield name, group
    for word, command in group.commands.items():
        if isinstance(command, click.Group):
            yield from commands(command, f"{name} {word}")
        else:
            yield f"{name} {word}", command


COMMANDS = dict(commands(cli))


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_is_in_the_readme_and_explains_itself(name: str) -> None:
    command = COMMANDS[name]
    assert re.search(rf"\b{name}\b", README), f"{name} is not in README.md"
    assert command.help and len(command.help) > 20
    if not isinstance(command, click.Group):
        assert command.short_help
        assert re.search(rf"^ +{name}\b", command.help, re.MULTILINE), "no example"


@pytest.mark.parametrize("name", COMMANDS)
def test_every_option_is_in_the_readme_and_has_help(name: str) -> None:
    for option in COMMANDS[name].params:
        if not isinstance(option, click.Option):
            continue
        assert option.help, f"{name} {option.opts[0]} has no help"
        missing = [flag for flag in option.opts if not re.search(rf"{flag}\b", README)]
        assert not missing, f"{name}: {missing} not in README.md"


def blocks(text: str, language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```", text, re.MULTILINE | re.DOTALL)


def shown() -> Iterator[str]:
    """Every talklog command line in the README and in the help texts."""
    texts = [*blocks(README, "sh"), *(command.help or "" for command in COMMANDS.values())]
    for text in texts:
        for line in text.splitlines():
            found = re.search(r"(?:^|\| |bin/)\s*(talklog [^|>]*)", line)
            if found:
                yield re.split(r"\s{3,}", found[1].strip())[0]


@pytest.mark.parametrize("line", sorted(set(shown())))
def test_every_command_line_shown_can_be_typed(line: str) -> None:
    words = shlex.split(line)[1:]
    command: click.Command = cli
    while isinstance(command, click.Group) and words and words[0] in command.commands:
        command = command.commands[words.pop(0)]
    assert not isinstance(command, click.Group), f"{line}: no such command"
    command.make_context(line, words)


def test_the_readme_starts_with_the_job_and_two_commands() -> None:
    first, second, *_ = blocks(README, "sh")
    assert README.index("A mechanic") < README.index("```")
    assert len(first.splitlines()) == len(second.splitlines()) == 1
    assert "talklog take sample_audio/*" in first
    assert "pytest" in second


def test_ci_runs_exactly_the_two_commands_of_the_readme() -> None:
    run = [line.removesuffix(" || exit 1") for line in CI.splitlines() if "pip install" in line]
    assert run == [block.strip() for block in blocks(README, "sh")[:2]]
    assert (ROOT / ".ci" / "run").stat().st_mode & 0o111, "not executable"


@pytest.mark.parametrize("block", blocks(README, "toml") + blocks(DEVELOPERS, "toml"))
def test_toml_in_the_documents_is_good(block: str) -> None:
    tomllib.loads(block)


def test_the_band_sheet_of_the_readme_is_good() -> None:
    from talklog.bands import parse_bands

    (block,) = (block for block in blocks(README, "toml") if "[machine]" in block)
    sheet = parse_bands(block)
    assert sheet.bands and sheet.expects


ERRORS = [
    name
    for name, kind in inspect.getmembers(errors, inspect.isclass)
    if issubclass(kind, errors.TalklogError)
]


@pytest.mark.parametrize("name", ERRORS)
def test_every_error_is_in_developers_and_in_the_tree(name: str) -> None:
    assert f"`{name}`" in DEVELOPERS
    assert name in errors.__doc__


@pytest.mark.parametrize("category", sorted(CATEGORIES))
def test_every_cue_category_is_in_developers(category: str) -> None:
    assert f"`{category}`" in DEVELOPERS


def test_every_data_file_is_in_developers() -> None:
    names = {path.name for path in DATA.iterdir() if path.is_file()}
    assert {name for name in names if name not in DEVELOPERS} == set()


def test_every_module_is_in_developers() -> None:
    package = ROOT / "talklog"
    paths = (p.relative_to(package).with_suffix("") for p in package.rglob("*.py"))
    names = {".".join(path.parts) for path in paths if not path.stem.startswith("__")}
    assert {name for name in names if f"`{name}`" not in DEVELOPERS} == set()


def test_links_in_the_documents_lead_somewhere() -> None:
    for text in (README, DEVELOPERS):
        for target in re.findall(r"\]\(([^)#:]+)\)", text):
            assert (ROOT / target).exists(), target


def test_pictures_are_our_own() -> None:
    """No badges: every picture is a file of this project."""
    pictures = re.findall(r"!\[[^\]]*\]\(([^)]*)\)", README)
    assert pictures
    assert all((ROOT / picture).is_file() for picture in pictures)
