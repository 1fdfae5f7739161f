"""A user's words: the file, guessed sounds, new paths in a graph, the real model hearing one."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from talklog.cli import cli
from talklog.errors import DataFileError, ModelError
from talklog.own_words import graph_file
from talklog.own_words.add import MARK, add_words
from talklog.own_words.graph import Graph
from talklog.own_words.sounds import by_letters, guess
from talklog.own_words.unheard import unheard
from talklog.own_words.word_list import OwnName, read_word_list

ROOT = Path(__file__).parents[1]
MODEL = ROOT / "models" / "talklog-en"
CLIPS = ROOT / "tests" / "audio"


# ---- the file ------------------------------------------------------------------------------------


def test_names_and_given_sounds(tmp_path) -> None:
    path = tmp_path / "words.txt"
    path.write_text("# mine\nStern-Tube\n\nwobble rod = W AA B AH L | R aa D  # bent\nstern tube\n")
    assert read_word_list(path) == (
        OwnName(("stern", "tube")),
        OwnName(("wobble", "rod"), (("W", "AA", "B", "AH", "L"), ("R", "AA", "D"))),
    )


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("m8 bolt", "line 1: 'm8' is not spelled in letters"),
        ("good\none two three four five six", "line 2: a name has 1 to 5 words"),
        ("rod = R AA D | R AA D", "line 1: 1 words need as many sounds"),
        ("rod = R AA X", "X: no ARPAbet phone"),
        ("rod =", "as many sounds"),
        ("# nothing", "no word in it"),
        ("a1\nb2", "line 2"),
    ],
)
def test_a_wrong_file_is_refused_with_every_line(text: str, says: str, tmp_path) -> None:
    path = tmp_path / "words.txt"
    path.write_text(text)
    with pytest.raises(DataFileError, match=says.replace("|", r"\|")):
        read_word_list(path)


def test_a_file_that_is_not_there_or_no_text(tmp_path) -> None:
    with pytest.raises(DataFileError, match="cannot be read"):
        read_word_list(tmp_path / "none.txt")
    (tmp_path / "binary").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(DataFileError, match="UTF-8"):
        read_word_list(tmp_path / "binary")


# ---- sounds --------------------------------------------------------------------------------------


def test_the_widest_context_decides() -> None:
    table = {"|g|": "G", "|g|e": "JH", "|e|": "EH", "|a|": "AE", "n|g|#": ""}
    assert by_letters("age", table) == ("AE", "JH", "EH")


def test_known_words_help_to_guess() -> None:
    known = {"wheel": (("W", "IY", "L"),), "nut": (("N", "AH", "T"),)}

    def sounds(word: str):
        return known.get(word, ())

    assert guess("wheelnut", sounds)[0] == ("W", "IY", "L", "N", "AH", "T")
    assert guess("wheels", sounds) == (("W", "IY", "L", "Z"),)
    assert guess("nuts", sounds) == (("N", "AH", "T", "S"),)


@pytest.mark.parametrize(
    ("word", "phones"),  # CMUdict, from memory, not checked
    [("sprocket", "S P R AA K AH T"), ("clamp", "K L AE M P"), ("bender", "B EH N D ER")],
)
def test_plain_words_are_guessed_right(word: str, phones: str) -> None:
    assert " ".join(guess(word, lambda _: ())[-1]) == phones


# ---- the graph -----------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def graph() -> Graph:
    return Graph(MODEL)


def test_the_sounds_of_known_words_are_read_off_the_graph(graph: Graph) -> None:
    assert ("TH", "AW") in graph.sounds("thou")
    assert ("G", "AE", "S", "K", "AH", "T") in graph.sounds("gasket")
    assert graph.sounds("grommulator") == ()


def test_a_new_word_can_be_read_off_as_well(tmp_path) -> None:
    graph = Graph(MODEL)
    before = len(graph.words)
    phones = ("Z", "AO", "R", "B")
    graph.add(("zorb",), [(phones,)], 6.0)
    assert graph.sounds("zorb") == (phones,)
    assert graph.words["zorb"] == before
    graph.write(tmp_path)
    again = graph_file.read(tmp_path / "HCLG.fst")
    assert len(again.arcs) == len(graph.fst.arcs)
    assert all(arcs["target"].max(initial=0) < len(again.arcs) for arcs in again.arcs[-9:])


def test_only_models_of_this_kind_can_be_added_to(tmp_path) -> None:
    (tmp_path / "graph").mkdir()
    (tmp_path / "graph" / "words.txt").write_text("<eps> 0\nword 7\n")
    with pytest.raises(ModelError, match="talklog's own model"):
        Graph(tmp_path)


def test_a_folder_of_something_else_is_never_replaced(tmp_path) -> None:
    (tmp_path / "keep.txt").write_text("mine")
    with pytest.raises(ModelError, match="another --out"):
        add_words(MODEL, [OwnName(("zorb",))], tmp_path)
    assert (tmp_path / "keep.txt").read_text() == "mine"


def test_what_a_model_cannot_hear_is_listed(tmp_path) -> None:
    (tmp_path / "words.txt").write_text("<eps> 0\ngasket 1\nthou 2\n")
    found = unheard(tmp_path)
    assert "gasket" not in found["components"] and "thou" not in found["units"]
    assert "sprocket" in found["components"] and "bar" in found["units"]
    assert not {"thou", "bar"} & set(unheard(MODEL)["units"])


# ---- the commands, and the real recogniser -------------------------------------------------------


@pytest.mark.speech
def test_own_words_are_heard_and_the_rest_as_before(tmp_path) -> None:
    """The clips are espeak-ng's: "the grommulator is leaking", "wobble rod bent"."""
    from models.evaluation import evaluate
    from talklog.recognise import Recogniser

    words, out = tmp_path / "words.txt", tmp_path / "own"
    words.write_text("grommulator\nwobble rod\nstern tube housing\nthrust plonker\n")
    for _ in range(2):  # the second time replaces the first
        result = CliRunner().invoke(cli, ["models", "add-words", str(words), "--out", str(out)])
        assert result.exit_code == 0, result.output
    assert "wobble rod = W AA B AH L | R AA D" in result.output
    assert (out / MARK).read_text().count("\n") == 4
    own, plain = Recogniser(out), Recogniser()
    for name, wanted in (("grommulator", "grommulator"), ("wobble-rod", "wobble rod")):
        clip = CLIPS / f"{name}.ogg"
        assert wanted in " ".join(word.text for word in own.hear(clip).words)
    assert "grommulator" not in [w.text for w in plain.hear(CLIPS / "grommulator.ogg").words]
    clips = sorted(evaluate.AUDIO.glob("t0*.ogg"))[:12]
    heard = [
        [w.text for w in recogniser.hear(c).words] for recogniser in (own, plain) for c in clips
    ]
    changed = sum(a != b for a, b in zip(heard[:12], heard[12:], strict=True))
    assert changed <= 1


def test_check_lists_by_kind() -> None:
    result = CliRunner().invoke(cli, ["models", "check"])
    assert result.exit_code == 0, result.output
    assert result.stdout.startswith("units: ") and "components: " in result.stdout
